//! The new file: pieces as forms, pages that draw them, and all of it written, filled with its
//! pictures and read back.

use std::collections::{BTreeSet, HashMap};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use qpdf::{
    ObjectStreamMode, QPdf, QPdfDictionary, QPdfObject, QPdfObjectLike, StreamDataMode,
    StreamDecodeLevel,
};
use tympan_sheet::drawing::{Colour, Drawing, Item, Path as Outline};
use tympan_sheet::{Page, Point, Rect, Shape, Size};

use super::art::{Filling, Gallery, new_form, packed};
use super::check::check;
use super::ops::{Ops, matrix, plain};
use super::piece::{self, Clip, Edge, Paint, Plan, Strip, kept_upright};
use super::sources::Sources;
use super::splice::{SpliceError, splice};
use super::tint::Tints;
use super::{
    ArtId, BleedBy, Boxes, Fault, ImposeError, ImposeJob, ImposeReport, Overlay, Placement,
    Problem, SheetPage,
};
use crate::changes::Changes;
use crate::correct::{Progress, stop_if};
use crate::dig;
use crate::document::{Document, say};
use crate::draw::{self, DrawError};
use crate::error::PdfError;
use crate::form::Forms;
use crate::mark::Mark;
use crate::output::Output;
use crate::space::{Matrix, PageSpace, UserRect};

/// Writes the job's file.
///
/// Sources are only read. The file is written beside its name and gets it when it is whole and has
/// been read back.
///
/// # Errors
/// [`ImposeError::Problems`] with everything that is wrong with the arts and their places, before
/// anything is written; else what is wrong with the marks or the output. Nothing is left behind.
pub fn write(
    job: &ImposeJob,
    sources: Sources,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<ImposeReport, ImposeError> {
    if job.pages.is_empty() {
        return Err(PdfError::NothingToDo.into());
    }
    let files: Vec<&Path> = sources.files.iter().map(|f| f.file.as_path()).collect();
    let output = Output::create(&job.output, &files)?;
    for (page, number) in job.pages.iter().zip(1..) {
        let Size { w, h } = page.size;
        let sound = |mm: f64| (1.0..5_080.0).contains(&mm);
        if !(sound(w) && sound(h)) {
            return Err(DrawError::PageSize { page: number, w, h }.into());
        }
    }
    let problems = check(job, &sources);
    if !problems.is_empty() {
        return Err(ImposeError::Problems(problems));
    }
    let folder = output.path().parent().unwrap_or(Path::new("."));
    let beside = || {
        let new = tempfile::Builder::new()
            .prefix(".tympan-")
            .tempfile_in(folder);
        new.map_err(|e| output.fault(e))
    };
    let target = QPdf::empty();
    let mut sheet = Sheet {
        job,
        target: &target,
        gallery: Gallery::new(&target, &sources.files, beside()?),
        tints: Tints::new(&sources.files),
        pieces: Vec::new(),
        known: HashMap::new(),
        problems: Vec::new(),
    };
    let drawn = drawings(job, &target)?;
    let total = job.pages.len();
    for (i, (page, drawn)) in job.pages.iter().zip(drawn).enumerate() {
        stop_if(cancel)?;
        progress(Progress { done: i, total });
        let page = sheet.page(page, drawn);
        target
            .add_page(&page, false)
            .map_err(|e| output.fault(say(&e)))?;
    }
    if !sheet.problems.is_empty() {
        return Err(ImposeError::Problems(sheet.problems));
    }
    describe(job, &target);
    let Sheet {
        gallery, pieces, ..
    } = sheet;
    if gallery.pictures.is_empty() {
        write_to(&target, output.path(), ObjectStreamMode::Generate)
            .map_err(|e| output.fault(e))?;
    } else {
        let skeleton = beside()?;
        write_to(&target, skeleton.path(), ObjectStreamMode::Disable)
            .map_err(|e| output.fault(e))?;
        fill(job, &gallery, &pieces, &output, skeleton.path(), cancel)?;
    }
    stop_if(cancel)?;
    prove(job, &output)?;
    let report = ImposeReport {
        pages: total,
        placements: job.pages.iter().map(|p| p.placements.len()).sum(),
        pieces: pieces.len(),
        forms: gallery.form_count(),
        pictures: gallery.pictures.len(),
        passed_through: gallery.pictures.iter().filter(|p| p.passed_through).count(),
        bytes: std::fs::metadata(output.path()).map_or(0, |m| m.len()),
    };
    output.keep()?;
    progress(Progress { done: total, total });
    Ok(report)
}

/// What is painted under and over the arts of one page, as forms in points of that page.
#[derive(Default)]
struct Marks {
    under: Option<QPdfObject>,
    over: Option<QPdfObject>,
}

/// Draws the marks of all pages in one file, so that faces are embedded once, and takes its pages.
fn drawings(job: &ImposeJob, target: &QPdf) -> Result<Vec<Marks>, ImposeError> {
    let mut all = Vec::new();
    // Many pages carry the same marks.
    let mut known: Vec<(usize, Size, &[Item])> = Vec::new();
    let mut wanted: Vec<[Option<usize>; 2]> = Vec::new();
    for page in &job.pages {
        let mut one = [None, None];
        for (slot, items) in one.iter_mut().zip([&page.under, &page.over]) {
            let same = known
                .iter()
                .rev()
                .take(8)
                .find(|(_, size, old)| *size == page.size && *old == items.as_slice());
            *slot = match same {
                _ if items.is_empty() => None,
                Some((index, ..)) => Some(*index),
                None => {
                    let index = all.len();
                    all.push((page.size, items.clone()));
                    known.push((index, page.size, items));
                    Some(index)
                }
            };
        }
        wanted.push(one);
    }
    if all.is_empty() {
        return Ok(job.pages.iter().map(|_| Marks::default()).collect());
    }
    let pages: Vec<_> = all
        .into_iter()
        .map(|(size, items)| Drawing { size, items })
        .collect();
    let bytes = draw::write(&pages, &draw::Meta::new(""))?;
    let document = Document::made(&job.output, &bytes)?;
    let mut forms = Forms::in_place();
    let mut made = Vec::with_capacity(pages.len());
    for (page, drawing) in document.pages.iter().zip(&pages) {
        let shown = PageSpace::for_sheet(drawing.size).shown;
        let form = forms
            .of_page(&document.qpdf, page, &shown)
            .map_err(|reason| document.fault(1, reason))?;
        made.push(form.map(|form| target.copy_from_foreign(form.object)));
    }
    let take = |index: Option<usize>| index.and_then(|i| made[i].clone());
    Ok(wanted
        .into_iter()
        .map(|[under, over]| Marks {
            under: take(under),
            over: take(over),
        })
        .collect())
}

/// The pages being made.
struct Sheet<'a> {
    job: &'a ImposeJob,
    target: &'a QPdf,
    gallery: Gallery<'a>,
    tints: Tints<'a>,
    pieces: Vec<Piece>,
    /// Which piece serves placements that differ in nothing but their place.
    known: HashMap<String, Option<usize>>,
    problems: Vec<Problem>,
}

/// A piece in the file.
struct Piece {
    form: QPdfObject,
    /// Which picture it is drawn from, and the names by which its form leads to it.
    picture: Option<(usize, &'static [&'static str])>,
    art: ArtId,
}

impl Sheet<'_> {
    fn page(&mut self, page: &SheetPage, marks: Marks) -> QPdfObject {
        let qpdf = self.target;
        let space = PageSpace::for_sheet(page.size);
        let objects = qpdf.new_dictionary();
        let mut ops = Ops::default();
        if let Some(under) = marks.under {
            ops.draw(&Matrix::IDENTITY, "/Under");
            objects.set("/Under", under);
        }
        // Every space has an extent: its size was checked.
        let to_user = space.to_seen().inverse().unwrap_or(Matrix::IDENTITY);
        for placement in &page.placements {
            if let Some(piece) = self.piece(placement) {
                let name = format!("/P{}", piece + 1);
                ops.draw(&matrix(&placement.map).then(&to_user), &name);
                objects.set(&name, &self.pieces[piece].form);
            }
        }
        if let Some(over) = marks.over {
            ops.draw(&Matrix::IDENTITY, "/Over");
            objects.set("/Over", over);
        }
        let resources = qpdf.new_dictionary();
        resources.set("/XObject", objects);
        let content = qpdf.new_stream([]);
        content.replace_data(
            packed(&ops.bytes()),
            qpdf.new_name("/FlateDecode"),
            qpdf.new_null(),
        );
        let new = qpdf.new_dictionary();
        new.set("/Type", qpdf.new_name("/Page"));
        new.set("/MediaBox", dig::new_rect(qpdf, &space.shown));
        if space.user_unit != 1.0 {
            let unit = crate::space::number(space.user_unit);
            new.set("/UserUnit", qpdf.new_real_from_string(&unit));
        }
        if let Some(boxes) = page.boxes.or_else(|| boxes_around(&page.placements)) {
            for (key, rect) in [("/BleedBox", boxes.bleed), ("/TrimBox", boxes.trim)] {
                let rect = plain(rect).moved(&to_user).intersection(&space.shown);
                if let Some(rect) = rect {
                    new.set(key, dig::new_rect(qpdf, &rect));
                }
            }
        }
        new.set("/Resources", resources);
        new.set("/Contents", content);
        new.into_indirect()
    }

    /// The piece for a placement; `None` where there is nothing to draw, or a problem was noted.
    fn piece(&mut self, placement: &Placement) -> Option<usize> {
        let key = format!(
            "{:?}",
            (
                placement.art,
                placement.trim,
                placement.fit,
                placement.bleed,
                &placement.overlays
            )
        );
        if let Some(known) = self.known.get(&key) {
            return *known;
        }
        let made = match self.make(placement) {
            Ok(made) => made,
            Err(fault) => {
                let art = self.job.arts[placement.art.0].name.clone();
                self.problems.push(Problem { art, fault });
                None
            }
        };
        self.known.insert(key, made);
        made
    }

    fn make(&mut self, placement: &Placement) -> Result<Option<usize>, Fault> {
        let job = self.job;
        let art = &job.arts[placement.art.0];
        let unreadable = |e: String| Fault::Unreadable(e);
        let drawn = self
            .gallery
            .drawn(art.source, art.page)
            .map_err(|e| unreadable(e.to_string()))?;
        let plan = piece::plan(art, placement.trim.size(), placement.fit, &placement.bleed);
        let qpdf = self.target;
        let objects = qpdf.new_dictionary();
        let mut ops = Ops::default();
        let mut picture = None;
        shape_clip(placement, &plan, &mut ops);
        if let Some(drawn) = drawn {
            let from_page = matrix(&art.at).inverse().unwrap_or(Matrix::IDENTITY);
            let base = drawn.to_seen.then(&from_page).then(&plan.fit);
            if plan.corner_radius > 0.0 {
                objects.set("/Cell", self.squared(&plan, &base, drawn.object));
                self.paint(placement, &plan, &Matrix::IDENTITY, "/Cell", &mut ops)
                    .map_err(unreadable)?;
                picture = drawn.picture.map(|p| (p, ["/Cell", "/Art"].as_slice()));
            } else {
                objects.set("/Art", drawn.object);
                self.paint(placement, &plan, &base, "/Art", &mut ops)
                    .map_err(unreadable)?;
                picture = drawn.picture.map(|p| (p, ["/Art"].as_slice()));
            }
        }
        self.overlays(placement, &plan, &mut ops)
            .map_err(unreadable)?;
        let resources = qpdf.new_dictionary();
        resources.set("/XObject", objects);
        let bbox = dig::new_rect(qpdf, &plan.bleed);
        let form = new_form(qpdf, &bbox, resources, ops);
        let index = self.pieces.len();
        self.pieces.push(Piece {
            form,
            picture,
            art: placement.art,
        });
        Ok(Some(index))
    }

    /// The art with its round corners squared out, as a form in the frame of the trim.
    fn squared(&self, plan: &Plan, base: &Matrix, object: QPdfObject) -> QPdfObject {
        let qpdf = self.target;
        let mut ops = Ops::default();
        for strip in piece::corners(&plan.have, plan.corner_radius) {
            if let Paint::Art(by) = strip.paint {
                ops.save();
                clip(&strip.clip, &mut ops);
                ops.draw(&base.then(&by), "/Art");
                ops.restore();
            }
        }
        let UserRect { x0, y0, .. } = plan.have;
        let (w, h) = (plan.have.width(), plan.have.height());
        ops.save();
        // A little more is cut off: the round edge may be blended with what is behind it.
        ops.path(&Outline::rounded_rect(
            x0,
            y0,
            w,
            h,
            plan.corner_radius + 0.1,
        ));
        ops.clip();
        ops.draw(base, "/Art");
        ops.restore();
        let objects = qpdf.new_dictionary();
        objects.set("/Art", object);
        let resources = qpdf.new_dictionary();
        resources.set("/XObject", objects);
        new_form(qpdf, &dig::new_rect(qpdf, &plan.have), resources, ops)
    }

    /// The bleed, then the art.
    fn paint(
        &mut self,
        placement: &Placement,
        plan: &Plan,
        base: &Matrix,
        name: &str,
        ops: &mut Ops,
    ) -> Result<(), String> {
        for Strip { clip: at, paint } in &plan.strips {
            ops.save();
            match paint {
                Paint::Art(by) => {
                    clip(at, ops);
                    ops.draw(&base.then(by), name);
                }
                Paint::Colour(edge) => {
                    let colour = self.bleed_colour(placement, *edge)?;
                    ops.colour(colour);
                    if let Clip::Rect(rect) = at {
                        ops.rect(rect);
                        ops.fill();
                    }
                }
            }
            ops.restore();
        }
        ops.save();
        clip(&Clip::Rect(plan.have), ops);
        ops.draw(base, name);
        ops.restore();
        Ok(())
    }

    fn bleed_colour(&mut self, placement: &Placement, edge: Edge) -> Result<Colour, String> {
        let art = &self.job.arts[placement.art.0];
        match placement.bleed.by.of(edge) {
            BleedBy::Colour(Some(colour)) => Ok(colour),
            _ => self.tints.edge(placement.art, art, edge),
        }
    }

    fn overlays(
        &mut self,
        placement: &Placement,
        plan: &Plan,
        ops: &mut Ops,
    ) -> Result<(), String> {
        let art = &self.job.arts[placement.art.0];
        let id: ArtId = placement.art;
        for overlay in &placement.overlays {
            match *overlay {
                Overlay::Cover { area, colour } => {
                    let colour = match colour {
                        Some(colour) => colour,
                        None => {
                            let back = plan.fit.inverse().unwrap_or(Matrix::IDENTITY);
                            let r = plain(area).moved(&back);
                            let corner = Point::new(r.x0, r.y0);
                            let there = Rect::at(corner, Size::new(r.width(), r.height()));
                            self.tints.beside(id, art, there)?
                        }
                    };
                    ops.colour(colour);
                    ops.rect(&plain(area));
                    ops.fill();
                }
                Overlay::Border {
                    width,
                    corner_radius,
                    colour,
                } => {
                    let colour = match colour {
                        Some(colour) => colour,
                        None => self.tints.around(id, art)?,
                    };
                    let centre = placement.trim.size().centre();
                    let inner = match placement.trim {
                        Shape::Rect { size, .. } => Shape::rect(size, 0.0).grown(-width),
                        other => other.grown(-width),
                    };
                    let inner = inner.map(|shape| match shape {
                        Shape::Rect { size, .. } => Shape::rect(size, corner_radius),
                        other => other,
                    });
                    ops.colour(colour);
                    ops.rect(&plan.bleed);
                    if let Some(inner) = inner {
                        ops.path(&inner.outline(centre));
                    }
                    ops.fill_between();
                }
            }
        }
        Ok(())
    }
}

fn clip(to: &Clip, ops: &mut Ops) {
    match to {
        Clip::Rect(rect) => ops.rect(rect),
        Clip::Triangle(points) => ops.path(&Outline::polygon(points)),
    }
    ops.clip();
}

/// Circles and hexagons bleed in their own shape, so that close neighbours do not meet.
fn shape_clip(placement: &Placement, plan: &Plan, ops: &mut Ops) {
    if matches!(placement.trim, Shape::Rect { .. }) {
        return;
    }
    let wanted = placement.bleed.wanted;
    let most = wanted
        .left
        .max(wanted.top)
        .max(wanted.right)
        .max(wanted.bottom);
    let centre: Point<Page> = placement.trim.size().centre();
    debug_assert!(plan.bleed.width() > 0.0);
    ops.path(&placement.trim.with_bleed(most).outline(centre));
    ops.clip();
}

/// The boxes around all trims and all bleeds of a page.
fn boxes_around(placements: &[Placement]) -> Option<Boxes> {
    let both = placements.iter().map(|p| {
        let trim = Rect::whole(p.trim.size());
        let b = p.bleed.wanted;
        let bleed = Rect {
            min: Point::new(trim.min.x - b.left, trim.min.y - b.top),
            max: Point::new(trim.max.x + b.right, trim.max.y + b.bottom),
        };
        (kept_upright(trim, &p.map), kept_upright(bleed, &p.map))
    });
    let around = |a: Rect<Page>, b: Rect<Page>| Rect {
        min: Point::new(a.min.x.min(b.min.x), a.min.y.min(b.min.y)),
        max: Point::new(a.max.x.max(b.max.x), a.max.y.max(b.max.y)),
    };
    let (trim, bleed) = both.reduce(|a, b| (around(a.0, b.0), around(a.1, b.1)))?;
    Some(Boxes { trim, bleed })
}

/// What the file says of itself: no scaling, no dates.
fn describe(job: &ImposeJob, target: &QPdf) {
    let (Some(root), Some(trailer)) = (target.get_root(), target.get_trailer()) else {
        return;
    };
    let preferences = target.new_dictionary();
    preferences.set("/PrintScaling", target.new_name("/None"));
    if let Some(duplex) = job.duplex {
        preferences.set("/Duplex", target.new_name(duplex.name()));
    }
    root.set("/ViewerPreferences", preferences);
    let mark = Mark {
        corrected: job.corrected,
        pass: None,
    };
    mark.write(target, &Changes::default());
    let info = target.new_dictionary();
    info.set("/Producer", target.new_utf8_string("Tympan"));
    // The library takes no text with a nought in it.
    let title = job.title.replace('\0', "");
    if !title.is_empty() {
        info.set("/Title", target.new_utf8_string(&title));
    }
    trailer.set("/Info", info.into_indirect());
}

fn write_to(target: &QPdf, file: &Path, streams: ObjectStreamMode) -> Result<(), String> {
    let mut writer = target.writer();
    writer
        .stream_decode_level(StreamDecodeLevel::None)
        .stream_data_mode(StreamDataMode::Preserve)
        .compress_streams(false)
        .object_stream_mode(streams)
        .deterministic_id(true)
        .minimum_pdf_version("1.7");
    writer.write(file).map_err(|e| say(&e))
}

/// Puts the pictures' data into the file.
fn fill(
    job: &ImposeJob,
    gallery: &Gallery,
    pieces: &[Piece],
    output: &Output,
    skeleton: &Path,
    cancel: &AtomicBool,
) -> Result<(), ImposeError> {
    let written = Document::open_quietly(skeleton, None)?;
    let mut streams: HashMap<u32, &Filling> = HashMap::new();
    let mut owners: HashMap<u32, usize> = HashMap::new();
    let mut missing: BTreeSet<usize> = (0..gallery.pictures.len()).collect();
    for page in &written.pages {
        let Some(objects) =
            dig::dictionary(page, "/Resources").and_then(|r| dig::dictionary(&r, "/XObject"))
        else {
            continue;
        };
        for (piece, number) in pieces.iter().zip(1..) {
            let Some((picture, names)) = piece.picture else {
                continue;
            };
            if !missing.contains(&picture) {
                continue;
            }
            let Some(image) = lead(&objects, &format!("/P{number}"), names) else {
                continue;
            };
            let hung = &gallery.pictures[picture];
            let id = dig::id(&image).0;
            streams.insert(id, &hung.filled);
            owners.insert(id, picture);
            let about = dig::as_stream(image).map(|s| s.get_dictionary());
            if let (Some(alpha), Some(mask)) = (&hung.alpha, about.and_then(|a| a.get("/SMask"))) {
                let id = dig::id(&mask).0;
                streams.insert(id, alpha);
                owners.insert(id, picture);
            }
            missing.remove(&picture);
        }
    }
    drop(written);
    let mut go_on = || !cancel.load(Ordering::Relaxed);
    splice(skeleton, output.path(), &streams, &mut go_on).map_err(|e| match e {
        SpliceError::Stopped => PdfError::Cancelled.into(),
        SpliceError::Picture(number, e) => {
            let picture = owners.get(&number).copied();
            ImposeError::Problems(vec![Problem {
                art: name_of(job, pieces, picture),
                fault: Fault::Unreadable(e.to_string()),
            }])
        }
        other => output.fault(other).into(),
    })
}

/// From a page's objects by these names to the last of them.
fn lead(objects: &QPdfDictionary, first: &str, names: &[&str]) -> Option<QPdfObject> {
    let mut object = objects.get(first)?;
    for name in names {
        let about = dig::as_stream(object)?.get_dictionary();
        let inner = dig::dictionary(&dig::dictionary(&about, "/Resources")?, "/XObject")?;
        object = inner.get(name)?;
    }
    Some(object)
}

/// What the first piece that is drawn from a picture is called.
fn name_of(job: &ImposeJob, pieces: &[Piece], picture: Option<usize>) -> String {
    let piece = pieces
        .iter()
        .find(|p| p.picture.map(|(index, _)| index) == picture);
    piece.map_or_else(String::new, |p| job.arts[p.art.0].name.clone())
}

/// Reads the output back: its pages, and that each draws what it should.
fn prove(job: &ImposeJob, output: &Output) -> Result<(), ImposeError> {
    let fail = |reason: String| {
        ImposeError::from(PdfError::Unproven {
            file: job.output.clone(),
            reason,
        })
    };
    let again = Document::open_quietly(output.path(), None).map_err(|e| fail(e.to_string()))?;
    if again.is_damaged() {
        return Err(fail("it needs repair".to_owned()));
    }
    let (found, meant) = (again.page_count(), job.pages.len());
    if found != meant {
        return Err(fail(format!("it has {found} pages and not {meant}")));
    }
    for (number, page) in (1..).zip(&job.pages) {
        let size = again.page(number).map(|p| p.size);
        if !size.is_ok_and(|size| size.is_close(page.size, 0.01)) {
            return Err(fail(format!("page {number} has another size")));
        }
    }
    Ok(())
}
