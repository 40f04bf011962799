//! Whether a job can be laid out at all.

use tympan_sheet::{Shape, Size};

use super::Way;
use crate::job::{Job, Piece};
use crate::problem::{MOST_PIECES, Problem, Problems, SMALLEST_PIECE};

/// What is wrong with the pieces and lengths of a job, wherever they are to lie.
pub(crate) fn check_job(job: &Job) -> Vec<Problem> {
    let mut problems = check_pieces(&job.pieces);
    lengths(job, &mut problems);
    problems
}

/// All that stands in the way of a job.
pub(super) fn check(job: &Job, ways: &[Way]) -> Result<(), Problems> {
    let mut problems = check_job(job);
    let sound = problems.is_empty();
    if sound {
        rooms(job, ways, &mut problems);
    } else {
        // Sizes can be compared with the sheet even where something else is wrong.
        larger_than_sheet(job, &mut problems);
    }
    if problems.is_empty() {
        Ok(())
    } else {
        Err(Problems(problems))
    }
}

/// What is wrong with the pieces themselves.
fn check_pieces(pieces: &[Piece]) -> Vec<Problem> {
    let mut problems = Vec::new();
    let mut count = 0_usize;
    for piece in pieces {
        count = count.saturating_add(piece.copies);
    }
    match count {
        0 => problems.push(Problem::NoPieces),
        _ if count > MOST_PIECES => problems.push(Problem::TooManyPieces { count }),
        _ => {}
    }
    for piece in pieces {
        let size = piece.shape.size();
        if !piece.shape.is_sound() || size.w.min(size.h) < SMALLEST_PIECE {
            problems.push(Problem::Shape {
                piece: piece.name.clone(),
                measures: measures(piece.shape),
            });
        }
    }
    problems
}

fn measures(shape: Shape) -> String {
    match shape {
        Shape::Rect { corner_radius, .. } if corner_radius != 0.0 => {
            format!("{shape} with a corner radius of {corner_radius} mm")
        }
        _ => shape.to_string(),
    }
}

fn lengths(job: &Job, problems: &mut Vec<Problem>) {
    let sheet = &job.sheet;
    let mut given = vec![
        ("sheet's width", sheet.size.w),
        ("sheet's height", sheet.size.h),
        ("gutter", job.gutter),
        ("bleed", job.bleed),
        ("least bleed", job.least_bleed),
    ];
    for margins in [sheet.front_margins, sheet.back_margins] {
        given.extend(margins.edges().map(|mm| ("unprintable margin", mm)));
    }
    given.extend(
        sheet
            .reserve
            .edges()
            .map(|mm| ("room for witness marks", mm)),
    );
    if let Some(fold) = job.fold_over {
        given.push(("allowance for the fold", fold.allowance));
    }
    for (what, mm) in given {
        let problem = Problem::Length { what, mm };
        let is_length = mm.is_finite() && mm >= 0.0;
        if !is_length && !problems.contains(&problem) {
            problems.push(problem);
        }
    }
    if job.fold_over.is_some() {
        for piece in job.pieces.iter().filter(|p| p.back.is_none()) {
            problems.push(Problem::NoBackToFold {
                piece: piece.name.clone(),
            });
        }
    }
}

/// Whether a piece fits into this room as it stands, and on its side.
fn fits(piece: Size, room: Size) -> (bool, bool) {
    let within = |p: Size| p.w <= room.w + 1e-6 && p.h <= room.h + 1e-6;
    (within(piece), within(piece.turned()))
}

fn larger_than_sheet(job: &Job, problems: &mut Vec<Problem>) {
    for piece in &job.pieces {
        let size = piece.shape.size();
        let (upright, turned) = fits(size, job.sheet.size);
        if piece.shape.is_sound() && !upright && !turned {
            problems.push(Problem::LargerThanSheet {
                piece: piece.name.clone(),
                size,
                sheet: job.sheet.size,
            });
        }
    }
}

fn rooms(job: &Job, ways: &[Way], problems: &mut Vec<Problem>) {
    let usable = job.sheet.usable(job.is_two_sided()).size();
    if usable.w <= 0.0 || usable.h <= 0.0 {
        problems.push(Problem::NoRoom {
            sheet: job.sheet.size,
            left: usable,
        });
    }
    larger_than_sheet(job, problems);
    let larger = problems.len();
    // A piece needs one way that takes it; all pieces need the same one.
    let mut fewest: Option<Vec<Problem>> = None;
    for way in ways {
        let room = way.room_size();
        let mut here = Vec::new();
        for piece in &job.pieces {
            let size = piece.shape.size();
            let named = |p: &Problem| matches!(p, Problem::LargerThanSheet { piece: name, .. } if *name == piece.name);
            let (upright, turned) = fits(size, room);
            if upright || (turned && piece.may_turn) || problems[..larger].iter().any(named) {
                continue;
            }
            let usable = way.usable.size();
            let bleed = usable.w - room.w;
            here.push(Problem::NoRoomForPiece {
                piece: piece.name.clone(),
                needs: Size::new(size.w + bleed, size.h + bleed),
                room: usable,
                fits_turned: turned,
            });
        }
        if fewest.as_ref().is_none_or(|f| here.len() < f.len()) {
            fewest = Some(here);
        }
    }
    // Where nothing is left of the sheet, that no piece fits need not be said.
    if usable.w > 0.0 && usable.h > 0.0 {
        problems.extend(fewest.into_iter().flatten());
    }
}
