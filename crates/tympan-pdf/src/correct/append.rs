//! The incremental update (ISO 32000-1, 7.5.6): the source's bytes as they are, and the changed
//! objects behind them.
//!
//! It costs what copying the file costs and keeps all else bit for bit. It is used for files that
//! are sound, not encrypted, and keep their pages; everything else is rewritten in full.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufWriter, Read, Seek, SeekFrom, Write};
use std::sync::atomic::AtomicBool;

use md5::{Digest, Md5};
use qpdf::{QPdfDictionary, QPdfObjectLike};

use super::pages::{move_in_place, set_preferences};
use super::{CorrectJob, Planned, Progress, is_drawn_on, is_in_order, moved_in_place, stop_if};
use crate::annots::Annotations;
use crate::changes::Changes;
use crate::dig::{self, Id};
use crate::document::{Access, Document};
use crate::error::PdfError;
use crate::form::{self, Forms};
use crate::output::Output;
use crate::serial;

/// Contents that are appended pass through memory; where there is more, the file is rewritten.
const MAX_APPENDED: u64 = 24 << 20;

/// Cross-reference tables hold ten digits (7.5.4).
const MAX_FILE: u64 = 9_999_999_999;

/// How the cross-reference section is written that the source ends with; the update's must be of
/// the same kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Table,
    Stream,
}

/// What the end of the source says.
struct Tail {
    kind: Kind,
    startxref: u64,
    bytes: u64,
}

/// Why the file is to be rewritten after all.
enum Refusal {
    NotFit,
    Failed(PdfError),
}

impl From<PdfError> for Refusal {
    fn from(error: PdfError) -> Self {
        Self::Failed(error)
    }
}

impl From<serial::Unwritable> for Refusal {
    fn from(_: serial::Unwritable) -> Self {
        Self::NotFit
    }
}

/// Writes the output as an incremental update. `false` where the file is not fit for it; then it
/// has to be opened again to be rewritten, for its objects have been changed in memory.
pub(crate) fn write(
    job: &CorrectJob,
    base: &Document,
    plan: &[Planned],
    output: &Output,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<bool, PdfError> {
    match try_write(job, base, plan, output, progress, cancel) {
        Ok(()) => Ok(true),
        Err(Refusal::NotFit) => Ok(false),
        Err(Refusal::Failed(error)) => Err(error),
    }
}

/// Whether the file and the job look fit for an update, from what is quickly known.
pub(crate) fn is_fit(job: &CorrectJob, base: &Document, plan: &[Planned]) -> bool {
    let moved = plan.iter().filter(|p| !p.asked.is_untouched());
    let content: u64 = moved
        .filter_map(|p| base.dictionary(p.asked.page).ok())
        .map(form::content_bytes)
        .sum();
    job.sources.len() == 1
        && job.over.is_empty()
        && base.access() == Access::Free
        && !base.is_damaged()
        && is_in_order(plan, base)
        && content <= MAX_APPENDED
        && base.bytes() + content < MAX_FILE
}

fn try_write(
    job: &CorrectJob,
    base: &Document,
    plan: &[Planned],
    output: &Output,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<(), Refusal> {
    let qpdf = &base.qpdf;
    let tail = tail(base).ok().flatten().ok_or(Refusal::NotFit)?;
    let trailer = qpdf.get_trailer().ok_or(Refusal::NotFit)?;
    let old_size = dig::integer(&trailer, "/Size")
        .and_then(|size| u32::try_from(size).ok())
        .ok_or(Refusal::NotFit)?;
    let changes = Changes::default();
    let mut forms = Forms::beside();
    let mut annotations = Annotations::count(&base.pages);
    for (done, p) in plan.iter().enumerate() {
        stop_if(cancel)?;
        progress(Progress {
            done,
            total: plan.len(),
        });
        if !p.asked.is_untouched() {
            let page = base.dictionary(p.asked.page)?;
            if dig::id(page) == (0, 0) {
                return Err(Refusal::NotFit);
            }
            move_in_place(qpdf, page, &mut forms, &mut annotations, &changes, p)
                .map_err(|reason| base.fault(p.asked.page, reason))?;
        }
    }
    set_preferences(qpdf, job.duplex, &changes);
    job.mark(std::slice::from_ref(base)).write(qpdf, &changes);
    let root = qpdf.get_root().ok_or(Refusal::NotFit)?;
    if older_than_1_6(&base.version()) {
        // The header stays; the catalogue may name a later version (7.7.2).
        root.set("/Version", qpdf.new_name("/1.6"));
    }
    // Repairs that were made while the file was read are not among the changes.
    if base.is_damaged() {
        return Err(Refusal::NotFit);
    }
    let fail = |e: io::Error| output.fault(e);
    let mut source = File::open(&base.file).map_err(|_| Refusal::NotFit)?;
    let mut file = File::options()
        .write(true)
        .truncate(true)
        .open(output.path())
        .map_err(fail)?;
    let copied = io::copy(&mut source, &mut file).map_err(fail)?;
    if copied != tail.bytes {
        return Err(Refusal::NotFit);
    }
    let mut out = Behind {
        file: BufWriter::new(file),
        at: copied,
        output,
    };
    out.put(b"\n")?;
    let written = write_objects(base, &changes, old_size, &mut out, cancel)?;
    write_section(&trailer, &tail, old_size, written, &mut out)?;
    out.file.flush().map_err(fail)?;
    progress(Progress {
        done: plan.len(),
        total: plan.len(),
    });
    Ok(())
}

fn older_than_1_6(version: &str) -> bool {
    matches!(version, "1.0" | "1.1" | "1.2" | "1.3" | "1.4" | "1.5")
}

/// The output behind the source's bytes; knows how far it has come.
struct Behind<'a> {
    file: BufWriter<File>,
    at: u64,
    output: &'a Output,
}

impl Behind<'_> {
    fn put(&mut self, bytes: &[u8]) -> Result<(), PdfError> {
        self.at += bytes.len() as u64;
        self.file.write_all(bytes).map_err(|e| self.output.fault(e))
    }
}

/// Writes the changed objects and all new ones that they refer to; where each begins.
fn write_objects(
    base: &Document,
    changes: &Changes,
    old_size: u32,
    out: &mut Behind<'_>,
    cancel: &AtomicBool,
) -> Result<BTreeMap<Id, u64>, Refusal> {
    let mut written = BTreeMap::new();
    let mut waiting = changes.all();
    while let Some(id) = waiting.pop() {
        if written.contains_key(&id) {
            continue;
        }
        stop_if(cancel)?;
        let object = base
            .qpdf
            .get_object_by_id(id.0, id.1)
            .ok_or(Refusal::NotFit)?;
        let mut refers = Default::default();
        let bytes = serial::object(&object, &mut refers)?;
        written.insert(id, out.at);
        out.put(format!("{} {} obj\n", id.0, id.1).as_bytes())?;
        out.put(&bytes)?;
        out.put(b"\nendobj\n")?;
        waiting.extend(
            refers
                .into_iter()
                .filter(|r| r.0 >= old_size && !written.contains_key(r)),
        );
    }
    Ok(written)
}

fn write_section(
    trailer: &QPdfDictionary,
    tail: &Tail,
    old_size: u32,
    mut written: BTreeMap<Id, u64>,
    out: &mut Behind<'_>,
) -> Result<(), PdfError> {
    let startxref = out.at;
    let newest = written.keys().map(|id| id.0).max().unwrap_or(0);
    let mut size = old_size.max(newest + 1);
    if tail.kind == Kind::Stream {
        written.insert((size, 0), startxref);
        size += 1;
    }
    let mut entries = format!("/Size {size}/Prev {}", tail.startxref).into_bytes();
    for key in ["/Root", "/Info"] {
        if let Some(value) = trailer.get(key) {
            let (number, generation) = dig::id(&value);
            if number != 0 {
                entries.extend(format!("{key} {number} {generation} R").bytes());
            }
        }
    }
    entries.extend(identifier(trailer, &written));
    match tail.kind {
        Kind::Table => {
            out.put(table(&written).as_bytes())?;
            out.put(b"trailer\n<<")?;
            out.put(&entries)?;
            out.put(b">>\n")?;
        }
        Kind::Stream => {
            let (index, rows) = rows(&written);
            let head = format!(
                "{} 0 obj\n<</Type/XRef/W[1 8 2]/Index[{index}]/Length {}",
                size - 1,
                rows.len()
            );
            out.put(head.as_bytes())?;
            out.put(&entries)?;
            out.put(b">>\nstream\n")?;
            out.put(&rows)?;
            out.put(b"\nendstream\nendobj\n")?;
        }
    }
    let end = format!("startxref\n{startxref}\n%%EOF\n");
    out.put(end.as_bytes())
}

/// The file's identifier: its first half stays, the second changes with the file (14.4).
fn identifier(trailer: &QPdfDictionary, written: &BTreeMap<Id, u64>) -> Vec<u8> {
    let Some(first) = dig::array(trailer, "/ID").and_then(|id| id.get(0)) else {
        return Vec::new();
    };
    let first = first.as_binary_string();
    let mut hash = Md5::new_with_prefix(&first);
    for ((number, generation), at) in written {
        hash.update(format!("{number} {generation} {at} "));
    }
    let hex = |bytes: &[u8]| bytes.iter().map(|b| format!("{b:02x}")).collect::<String>();
    format!("/ID[<{}><{}>]", hex(&first), hex(&hash.finalize())).into_bytes()
}

/// Runs of consecutive object numbers.
fn runs(written: &BTreeMap<Id, u64>) -> Vec<Vec<(Id, u64)>> {
    let mut runs: Vec<Vec<(Id, u64)>> = Vec::new();
    for (&id, &at) in written {
        match runs.last_mut() {
            Some(run) if run.last().is_some_and(|(last, _)| last.0 + 1 == id.0) => {
                run.push((id, at));
            }
            _ => runs.push(vec![(id, at)]),
        }
    }
    runs
}

/// A cross-reference table (7.5.4).
fn table(written: &BTreeMap<Id, u64>) -> String {
    let mut text = "xref\n".to_owned();
    for run in runs(written) {
        text += &format!("{} {}\n", run[0].0.0, run.len());
        for ((_, generation), at) in run {
            text += &format!("{at:010} {generation:05} n \n");
        }
    }
    text
}

/// A cross-reference stream's index and rows of 1, 8 and 2 bytes (7.5.8).
fn rows(written: &BTreeMap<Id, u64>) -> (String, Vec<u8>) {
    let (mut index, mut rows) = (Vec::new(), Vec::new());
    for run in runs(written) {
        index.push(format!("{} {}", run[0].0.0, run.len()));
        for ((_, generation), at) in run {
            rows.push(1);
            rows.extend(at.to_be_bytes());
            rows.extend((generation as u16).to_be_bytes());
        }
    }
    (index.join(" "), rows)
}

/// Reads where the source's last cross-reference section begins, and of what kind it is. `None`
/// where the file does not stand as it says it does.
fn tail(base: &Document) -> io::Result<Option<Tail>> {
    let mut file = File::open(&base.file)?;
    let bytes = file.metadata()?.len();
    let mut head = [0; 5];
    file.read_exact(&mut head)?;
    if &head != b"%PDF-" {
        return Ok(None);
    }
    let from = bytes.saturating_sub(2048);
    file.seek(SeekFrom::Start(from))?;
    let mut end = Vec::new();
    file.read_to_end(&mut end)?;
    let word = b"startxref";
    let Some(at) = end.windows(word.len()).rposition(|w| w == word) else {
        return Ok(None);
    };
    let digits: String = end[at + word.len()..]
        .iter()
        .map(|&b| char::from(b))
        .skip_while(char::is_ascii_whitespace)
        .take_while(char::is_ascii_digit)
        .collect();
    let Ok(startxref) = digits.parse::<u64>() else {
        return Ok(None);
    };
    if startxref >= bytes {
        return Ok(None);
    }
    file.seek(SeekFrom::Start(startxref))?;
    let mut there = [0; 32];
    let n = file.take(32).read(&mut there)?;
    let there = &there[..n];
    let kind = if there.starts_with(b"xref") {
        Kind::Table
    } else if is_object_head(there) {
        Kind::Stream
    } else {
        return Ok(None);
    };
    Ok(Some(Tail {
        kind,
        startxref,
        bytes,
    }))
}

/// Whether the bytes begin like `12 0 obj`.
fn is_object_head(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let mut words = text.split_ascii_whitespace();
    let is_number = |w: Option<&str>| w.is_some_and(|w| w.bytes().all(|b| b.is_ascii_digit()));
    is_number(words.next())
        && is_number(words.next())
        && words.next().is_some_and(|w| w.starts_with("obj"))
}

/// Whether the output, read back, has each moved page drawn as it was meant.
pub(crate) fn is_proven(output: &Output, plan: &[Planned]) -> bool {
    let Ok(again) = Document::open_quietly(output.path(), None) else {
        return false;
    };
    again.page_count() == plan.len()
        && moved_in_place(plan).all(|(i, p)| is_drawn_on(&again, i + 1, p))
        && !again.is_damaged()
}
