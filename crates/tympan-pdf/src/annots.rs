//! Annotations: they do not move with a page's content, so they are moved by themselves.
//!
//! An annotation's appearance is fitted into its `Rect` (ISO 32000-1, 12.5.5, algorithm 8.1):
//! the appearance's box, moved by the appearance's matrix, is scaled and shifted so that its
//! bounds fill `Rect`. A shift therefore needs only a new `Rect`. A tilt or stretch goes into a
//! copy of the appearance with the matrix `Matrix · A · M`, where `A` is the fitting that was and
//! `M` the page's move; with `Rect` set to the bounds of the moved box the new fitting is nothing
//! but a shift, and the annotation lies exactly where the content goes, still an annotation.

use std::collections::HashMap;

use qpdf::{QPdf, QPdfDictionary, QPdfObject, QPdfObjectLike, QPdfObjectType, QPdfStream};

use crate::changes::Changes;
use crate::dig::{self, Id};
use crate::space::{Matrix, UserRect, bounds};

/// Keys that hold points in the page's space, as x and y by turns (ISO 32000-1, tables 175 to
/// 182; `Path` is PDF 2.0).
const POINTS: [&str; 6] = ["/QuadPoints", "/Vertices", "/L", "/CL", "/InkList", "/Path"];

/// Bits of an annotation's `F` (ISO 32000-1, table 165).
const HIDDEN: i64 = 1 << 1;
const PRINT: i64 = 1 << 2;
const NO_ZOOM: i64 = 1 << 3;
const NO_ROTATE: i64 = 1 << 4;

/// How often each annotation is used on the pages of a file, and what has been moved.
#[derive(Default)]
pub(crate) struct Annotations {
    /// On how many pages each indirect annotation lies.
    uses: HashMap<Id, usize>,
    /// Moved already: the annotation and the move, and what came of it.
    moved: HashMap<(Id, String), QPdfObject>,
    /// Appearances that have been copied for a tilt or stretch.
    appearances: HashMap<(Id, String), QPdfObject>,
}

impl Annotations {
    /// Counts the annotations of these pages.
    pub(crate) fn count(pages: &[QPdfDictionary]) -> Self {
        let mut uses = HashMap::new();
        for page in pages {
            let mut here: Vec<Id> = annotations(page).map(|a| dig::id(&a)).collect();
            here.sort_unstable();
            here.dedup();
            for id in here.into_iter().filter(|&id| id != (0, 0)) {
                *uses.entry(id).or_insert(0) += 1;
            }
        }
        Self {
            uses,
            ..Self::default()
        }
    }

    /// Moves all the annotations of a page.
    pub(crate) fn move_all(
        &mut self,
        qpdf: &QPdf,
        page: &QPdfDictionary,
        by: &Matrix,
        changes: &Changes,
    ) {
        let old: Vec<_> = annotations(page).collect();
        if old.is_empty() {
            return;
        }
        let new: Vec<_> = old
            .into_iter()
            .map(|a| self.move_one(qpdf, a, by, changes))
            .collect();
        page.set("/Annots", qpdf.new_array_from(new));
    }

    fn move_one(
        &mut self,
        qpdf: &QPdf,
        annotation: QPdfDictionary,
        by: &Matrix,
        changes: &Changes,
    ) -> QPdfObject {
        let id = dig::id(&annotation);
        let key = (id, by.operands());
        if let (true, Some(done)) = (id != (0, 0), self.moved.get(&key)) {
            return done.clone();
        }
        // An annotation that other pages use too stays as it is for them.
        let shared = self.uses.get(&id).is_some_and(|&n| n > 1);
        let target = if shared {
            dig::shallow_copy(qpdf, &annotation).into_indirect().into()
        } else {
            annotation
        };
        changes.touch(&target);
        self.apply(qpdf, &target, by);
        let done: QPdfObject = target.into();
        if id != (0, 0) {
            self.moved.insert(key, done.clone());
        }
        done
    }

    fn apply(&mut self, qpdf: &QPdf, annotation: &QPdfDictionary, by: &Matrix) {
        for key in POINTS {
            if let Some(points) = annotation.get(key).and_then(dig::as_array) {
                annotation.set(key, moved_points(qpdf, &points, by, 0));
            }
        }
        let Some(rect) = annotation.get("/Rect").and_then(dig::rect) else {
            return;
        };
        let flags = dig::integer(annotation, "/F").unwrap_or(0);
        let new = if by.is_shift() || flags & (NO_ZOOM | NO_ROTATE) != 0 {
            let (x, y) = by.apply((rect.x0, rect.y1));
            UserRect {
                x0: x,
                y0: y - rect.height(),
                x1: x + rect.width(),
                y1: y,
            }
        } else if annotation.has("/AP") {
            self.transform_appearances(qpdf, annotation, &rect, by)
        } else {
            kept_upright(&rect, by)
        };
        annotation.set("/Rect", dig::new_rect(qpdf, &new));
    }

    /// Puts the move into the annotation's appearances; its new `Rect`.
    fn transform_appearances(
        &mut self,
        qpdf: &QPdf,
        annotation: &QPdfDictionary,
        rect: &UserRect,
        by: &Matrix,
    ) -> UserRect {
        let shown = current_appearance(annotation).map(|s| fitted(&s, rect));
        if let Some(old) = dig::dictionary(annotation, "/AP") {
            let new = qpdf.new_dictionary();
            for key in old.keys() {
                let Some(entry) = old.get(&key) else { continue };
                match entry.get_type() {
                    QPdfObjectType::Stream => {
                        new.set(&key, self.transformed(qpdf, &entry.into(), rect, by));
                    }
                    QPdfObjectType::Dictionary => {
                        let states: QPdfDictionary = entry.into();
                        let new_states = qpdf.new_dictionary();
                        for state in states.keys() {
                            let Some(value) = states.get(&state) else {
                                continue;
                            };
                            let value = match dig::as_stream(value.clone()) {
                                Some(stream) => self.transformed(qpdf, &stream, rect, by),
                                None => value,
                            };
                            new_states.set(&state, value);
                        }
                        new.set(&key, new_states);
                    }
                    _ => new.set(&key, entry),
                }
            }
            annotation.set("/AP", new);
        }
        match shown {
            Some((quad, _)) => bounds(quad.map(|p| by.apply(p))),
            None => kept_upright(rect, by),
        }
    }

    fn transformed(
        &mut self,
        qpdf: &QPdf,
        appearance: &QPdfStream,
        rect: &UserRect,
        by: &Matrix,
    ) -> QPdfObject {
        let (_, fit) = fitted(appearance, rect);
        let matrix = matrix_of(appearance).then(&fit).then(by).linear();
        let key = (dig::id(appearance), matrix.operands());
        if let Some(done) = self.appearances.get(&key) {
            return done.clone();
        }
        let Ok(copy) = dig::copy_stream(qpdf, appearance) else {
            return appearance.as_object().clone();
        };
        let numbers = [matrix.a, matrix.b, matrix.c, matrix.d, matrix.e, matrix.f];
        copy.get_dictionary()
            .set("/Matrix", dig::new_numbers(qpdf, &numbers));
        let copy: QPdfObject = copy.into();
        self.appearances.insert(key, copy.clone());
        copy
    }
}

/// A printed annotation as something to draw: its appearance and the matrix that puts it on its
/// page.
pub(crate) struct Printed {
    pub(crate) appearance: QPdfStream,
    pub(crate) fit: Matrix,
    /// The optional content that it belongs to.
    pub(crate) layer: Option<QPdfObject>,
}

/// What of a page's annotations is printed (ISO 32000-1, 12.5.3), in drawing order.
pub(crate) fn printed(page: &QPdfDictionary) -> Vec<Printed> {
    let one = |annotation: QPdfDictionary| {
        let flags = dig::integer(&annotation, "/F").unwrap_or(0);
        let popup = dig::name(&annotation, "/Subtype").is_some_and(|s| s == "/Popup");
        if flags & HIDDEN != 0 || flags & PRINT == 0 || popup {
            return None;
        }
        let rect = annotation.get("/Rect").and_then(dig::rect)?;
        let appearance = current_appearance(&annotation)?;
        let (_, fit) = fitted(&appearance, &rect);
        Some(Printed {
            appearance,
            fit,
            layer: annotation.get("/OC"),
        })
    };
    annotations(page).filter_map(one).collect()
}

fn annotations(page: &QPdfDictionary) -> impl Iterator<Item = QPdfDictionary> + use<> {
    let list = dig::array(page, "/Annots");
    let all: Vec<_> = list
        .map(|l| l.iter().filter_map(dig::as_dictionary).collect())
        .unwrap_or_default();
    all.into_iter()
}

/// The normal appearance in the state that the annotation is in.
fn current_appearance(annotation: &QPdfDictionary) -> Option<QPdfStream> {
    let normal = dig::dictionary(annotation, "/AP")?.get("/N")?;
    if let Some(stream) = dig::as_stream(normal.clone()) {
        return Some(stream);
    }
    let states = dig::as_dictionary(normal)?;
    dig::as_stream(states.get(&dig::name(annotation, "/AS")?)?)
}

fn matrix_of(appearance: &QPdfStream) -> Matrix {
    let array = dig::array(&appearance.get_dictionary(), "/Matrix");
    match array.as_ref().and_then(dig::numbers).as_deref() {
        Some(&[a, b, c, d, e, f]) => Matrix::new(a, b, c, d, e, f),
        _ => Matrix::IDENTITY,
    }
}

/// Algorithm 8.1: where the corners of the appearance's box come to lie on the page, and the
/// matrix `A` that follows the appearance's own.
fn fitted(appearance: &QPdfStream, rect: &UserRect) -> ([(f64, f64); 4], Matrix) {
    let own = matrix_of(appearance);
    let bbox = appearance
        .get_dictionary()
        .get("/BBox")
        .and_then(dig::rect)
        .unwrap_or(*rect);
    let quad = bbox.corners().map(|p| own.apply(p));
    let around = bounds(quad);
    let ratio = |to: f64, from: f64| if from.abs() > 1e-9 { to / from } else { 1.0 };
    let sx = ratio(rect.width(), around.width());
    let sy = ratio(rect.height(), around.height());
    let fit = Matrix::new(
        sx,
        0.0,
        0.0,
        sy,
        rect.x0 - sx * around.x0,
        rect.y0 - sy * around.y0,
    );
    (quad.map(|p| fit.apply(p)), fit)
}

/// A rectangle moved with its centre and stretched, but not tilted: bounds would grow with the
/// tilt.
fn kept_upright(rect: &UserRect, by: &Matrix) -> UserRect {
    let (cx, cy) = by.apply(((rect.x0 + rect.x1) / 2.0, (rect.y0 + rect.y1) / 2.0));
    // A quarter turn swaps the sides.
    let (w, h) = if by.a.abs() + by.d.abs() >= by.b.abs() + by.c.abs() {
        (
            rect.width() * by.a.hypot(by.b),
            rect.height() * by.c.hypot(by.d),
        )
    } else {
        (
            rect.height() * by.c.hypot(by.d),
            rect.width() * by.a.hypot(by.b),
        )
    };
    UserRect::new(cx - w / 2.0, cy - h / 2.0, cx + w / 2.0, cy + h / 2.0)
}

/// Points moved; lists of lists (`InkList`, `Path`) one level down.
fn moved_points(qpdf: &QPdf, points: &qpdf::QPdfArray, by: &Matrix, depth: usize) -> QPdfObject {
    if let Some(numbers) = dig::numbers(points) {
        let mut moved = numbers;
        for pair in moved.chunks_exact_mut(2) {
            (pair[0], pair[1]) = by.apply((pair[0], pair[1]));
        }
        return dig::new_numbers(qpdf, &moved);
    }
    let inner = points.iter().map(|item| match dig::as_array(item.clone()) {
        Some(list) if depth < 2 => moved_points(qpdf, &list, by, depth + 1),
        _ => item,
    });
    qpdf.new_array_from(inner.collect::<Vec<_>>()).into()
}
