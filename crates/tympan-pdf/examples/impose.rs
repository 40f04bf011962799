//! Writes sheets from a list of pages and places, for the proofs and benchmarks.
//!
//! `impose JOB OUT.pdf`, where JOB is a text file with a line for each page and each place on it:
//!
//! ```text
//! password FILE WORD
//! page WIDTH HEIGHT
//! place FILE PAGE X Y W H ROOM  XX XY YX YY DX DY  WIDTH HEIGHT BLEED METHOD
//! ```
//!
//! All lengths are mm. `X Y W H` is the art's trim rectangle on its page as seen (`- - - -` for the
//! whole page), `ROOM` the real bleed around it; the next six numbers carry the trim's frame to the
//! sheet; `WIDTH HEIGHT` is the trim's size, `METHOD` keep, mirror, stretch, colour or enlarge. Art
//! of another size than its place fills it.

use std::collections::HashMap;
use std::path::Path;
use std::process::ExitCode;
use std::sync::atomic::AtomicBool;

use tympan_pdf::impose::{
    Art, ArtId, Bleed, BleedBy, Edges, Fit, ImposeJob, ImposeReport, Placement, SheetPage, Sources,
    write,
};
use tympan_sheet::{Affine, Point, Rect, Shape, Size};

type Failure = Box<dyn std::error::Error>;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [job, output] = arguments.as_slice() else {
        eprintln!("usage: impose JOB OUT.pdf");
        return ExitCode::from(2);
    };
    match run(job, output) {
        Ok(report) => {
            eprintln!("{report:?}");
            ExitCode::SUCCESS
        }
        Err(e) => {
            eprintln!("error: {e}");
            ExitCode::FAILURE
        }
    }
}

fn run(list: &str, output: &str) -> Result<ImposeReport, Failure> {
    let mut sources = Sources::new();
    let mut job = ImposeJob {
        corrected: false,
        output: output.into(),
        ..ImposeJob::default()
    };
    let mut wrong = Vec::new();
    let mut passwords: HashMap<&str, &str> = HashMap::new();
    let text = std::fs::read_to_string(list)?;
    for line in text.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words.as_slice() {
            [] => {}
            ["page", w, h] => {
                let size = Size::new(w.parse()?, h.parse()?);
                job.pages.push(SheetPage::new(size));
            }
            ["password", file, word] => {
                passwords.insert(file, word);
            }
            ["place", file, rest @ ..] => {
                let password = passwords.get(file).copied();
                match sources.add(Path::new(file), password) {
                    Ok(source) => place(&mut job, &sources, source, rest)?,
                    Err(e) => wrong.push(e.to_string()),
                }
            }
            _ => return Err(format!("what does this mean: {line}").into()),
        }
    }
    if !wrong.is_empty() {
        return Err(wrong.join("\n").into());
    }
    Ok(write(&job, sources, &mut |_| (), &AtomicBool::new(false))?)
}

fn place(
    job: &mut ImposeJob,
    sources: &Sources,
    source: tympan_pdf::impose::SourceId,
    words: &[&str],
) -> Result<(), Failure> {
    let [page, window @ .., _, _, _, _, _, _, _, _, _, _, _] = words else {
        return Err("a place has too few words".into());
    };
    let page: usize = page.parse()?;
    let window = match window {
        ["-", "-", "-", "-"] => Rect::whole(sources.page(source, page)?.size),
        [x, y, w, h] => Rect::at(
            Point::new(x.parse()?, y.parse()?),
            Size::new(w.parse()?, h.parse()?),
        ),
        _ => return Err("a place has too many or too few words".into()),
    };
    let numbers: Vec<f64> = words[5..words.len() - 1]
        .iter()
        .map(|w| w.parse())
        .collect::<Result<_, _>>()?;
    let [room, xx, xy, yx, yy, dx, dy, w, h, bleed] = *numbers.as_slice() else {
        return Err("a place has too many or too few numbers".into());
    };
    let by = match words[words.len() - 1] {
        "keep" => BleedBy::Keep,
        "mirror" => BleedBy::Mirror,
        "stretch" => BleedBy::Stretch,
        "colour" => BleedBy::Colour(None),
        "enlarge" => BleedBy::Enlarge,
        other => return Err(format!("no way to make bleed: {other}").into()),
    };
    let name = format!("{}, page {page}", sources.path(source).display());
    let art = Art::window(name, source, page, window).with_room(Edges::all(room));
    let known = job.arts.iter().position(|a| *a == art);
    let index = known.unwrap_or_else(|| {
        job.arts.push(art);
        job.arts.len() - 1
    });
    let placement = Placement {
        map: Affine::new(xx, xy, yx, yy, dx, dy),
        fit: Fit::Fill,
        bleed: Bleed::all(bleed, by),
        ..Placement::at(
            ArtId(index),
            Shape::rect(Size::new(w, h), 0.0),
            Point::new(0.0, 0.0),
        )
    };
    let page = job
        .pages
        .last_mut()
        .ok_or("a place before the first page")?;
    page.placements.push(placement);
    Ok(())
}
