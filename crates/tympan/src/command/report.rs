//! `tympan report`: what is known about a set-up.

use tympan_app::Refusal;
use tympan_app::picture;
use tympan_app::report::{self, Design};
use tympan_app::{files, measure};

use crate::args::{Cli, Report};
use crate::say;

pub(crate) fn run(cli: &Cli, args: &Report) -> Result<(), Refusal> {
    let store = super::store(cli)?;
    let setup = store.set_up_named(&args.setup)?;
    let learnt = measure::learn(&store, &setup)?;
    let design = Design {
        card: report::card_size(&args.card)?,
        cut_tolerance: report::cut(args.cut)?,
        ..Design::default()
    };
    let report = report::report(&setup, &learnt, design)?;
    if let Some(file) = &args.picture {
        files::write_new(file, picture::error_field(&setup, &learnt).as_bytes())?;
        say::note(&format!("Wrote {}.", say::path(file)));
    }
    if cli.json {
        return say::json(&report);
    }
    let words = &report.in_words;
    let mut text = format!("{}\n\n{}\n", words.answer, words.seen_on_back);
    text.push_str(&format!(
        "To the back page, the correction does this: {}.\n",
        words.correction
    ));
    for part in [
        &words.terms,
        &words.scatter,
        &words.cards,
        &words.more_sheets,
    ] {
        text.push_str(part);
        text.push('\n');
    }
    say::data(text.trim_end())?;
    for caution in &report.cautions {
        say::note(&format!("\nBear in mind: {caution}"));
    }
    for sheet in &report.doubtful_sheets {
        let reading = &sheet.reading;
        say::note(&format!(
            "To set it aside: tympan log --set-aside {reading}"
        ));
    }
    Ok(())
}
