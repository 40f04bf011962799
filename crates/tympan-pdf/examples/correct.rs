//! Moves pages of a PDF by one matrix, to try the library by hand.
//!
//! `correct IN.pdf OUT.pdf PAGES xx xy yx yy dx dy [PASSWORD]`: PAGES like `2,4-6` or `all`; the
//! matrix in mm as seen, `x' = xx·x + xy·y + dx`, y down, about the page's top left corner. With
//! `ANEW` in the environment the file is rewritten where it could be updated.

use std::collections::HashSet;
use std::process::ExitCode;
use std::sync::atomic::AtomicBool;

use tympan_pdf::{CorrectJob, Document, PageOut, PdfError, Source, correct};
use tympan_sheet::Affine;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let numbers: Option<Vec<f64>> = args
        .get(3..9)
        .and_then(|n| n.iter().map(|x| x.parse().ok()).collect());
    let Some(numbers) = numbers else {
        eprintln!("correct IN.pdf OUT.pdf PAGES xx xy yx yy dx dy [PASSWORD]");
        return ExitCode::from(2);
    };
    match run(&args, &numbers) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            if let Some(hint) = error.hint() {
                eprintln!("hint: {hint}");
            }
            ExitCode::FAILURE
        }
    }
}

fn run(args: &[String], n: &[f64]) -> Result<(), PdfError> {
    let password = args.get(9).cloned();
    let count = Document::open(&args[0], password.as_deref())?.page_count();
    let chosen = chosen(&args[2], count);
    let map = Affine::new(n[0], n[1], n[2], n[3], n[4], n[5]);
    let page = |number| PageOut {
        map: if chosen.contains(&number) {
            map
        } else {
            Affine::IDENTITY
        },
        ..PageOut::untouched(0, number)
    };
    let source = Source {
        file: args[0].clone().into(),
        password,
    };
    // A second source, though it lends no page, rules an update out.
    let times = if std::env::var_os("ANEW").is_some() {
        2
    } else {
        1
    };
    let job = CorrectJob {
        sources: vec![source; times],
        output: args[1].clone().into(),
        pages: (1..=count).map(page).collect(),
        ..CorrectJob::default()
    };
    let report = correct(&job, &mut |_| (), &AtomicBool::new(false))?;
    eprintln!("{:?}: {} pages", report.way, report.pages.len());
    for (_, caution) in report.cautions {
        eprintln!("caution: {caution}");
    }
    Ok(())
}

fn chosen(text: &str, count: usize) -> HashSet<usize> {
    if text == "all" {
        return (1..=count).collect();
    }
    let range = |part: &str| {
        let (first, last) = part.split_once('-').unwrap_or((part, part));
        first.parse().unwrap_or(0)..=last.parse().unwrap_or(0)
    };
    text.split(',').flat_map(range).collect()
}
