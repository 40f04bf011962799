//! The file's own error in words.

use tympan_sheet::{Affine, Front, Size, Vector};

use super::STRAIGHT_MM;
use crate::findings::{FileError, Pair};

/// Errors that agree this far are the same on every page, mm.
const SAME_MM: f64 = 0.15;

/// What the file's own error comes to, in a sentence without a full stop. `sizes` are those of the
/// fronts' pages.
pub fn verdict(pairs: &[Pair], size_of: &dyn Fn(usize) -> Size) -> String {
    let known = |error: &dyn Fn(&Pair) -> Option<FileError>| -> Vec<(FileError, Size)> {
        let each = pairs.iter();
        each.filter_map(|pair| Some((error(pair)?, size_of(pair.front))))
            .collect()
    };
    let likelier = known(&|pair| pair.file_error);
    let otherwise = known(&|pair| pair.otherwise);
    let (Some((first, _)), other) = (likelier.first(), otherwise.first()) else {
        return "no fronts and backs can be laid on each other, so that nothing tells whether the \
                file is straight"
            .into();
    };
    let (said, is_off) = come_to(&likelier);
    let (said_otherwise, off_otherwise) = come_to(&otherwise);
    match other {
        Some((other, _)) if said != said_otherwise => format!(
            "flipped {}, {said}; flipped {}, {said_otherwise}; which flip is meant cannot be told \
             from the file{}",
            first.flip,
            other.flip,
            if is_off && off_otherwise {
                format!(", and either way {HELP}")
            } else {
                String::new()
            }
        ),
        _ if is_off => format!("{said}: {HELP}"),
        _ => said,
    }
}

const HELP: &str = "correcting the printer alone will not help";

/// The same for errors on one flip, and whether there is any.
fn come_to(known: &[(FileError, Size)]) -> (String, bool) {
    let Some((first, _)) = known.first() else {
        return (String::new(), false);
    };
    let crooked: Vec<&(FileError, Size)> = known
        .iter()
        .filter(|(error, size)| is_crooked(error, *size))
        .collect();
    let mut sds: Vec<f64> = known.iter().map(|(e, _)| e.shift_sd).collect();
    sds.sort_by(f64::total_cmp);
    let sd = sds[sds.len() / 2];
    if crooked.is_empty() {
        let said = if sd > STRAIGHT_MM {
            format!(
                "the file is straight, as far as {:.1} mm can be told",
                2.0 * sd
            )
        } else {
            "the file is straight".into()
        };
        return (said, false);
    }
    let same = known.iter().all(|(error, size)| {
        let between = FileError {
            map: Affine::shift(error.shift - first.shift),
            ..*error
        };
        between.largest(*size) < SAME_MM
            && (error.tilt.to_radians() - first.tilt.to_radians()).abs() < 0.001
    });
    if same {
        let said = format!(
            "seen from the front, the file's backs are {} its fronts on every page",
            in_words(first)
        );
        return (said, true);
    }
    let worst = crooked
        .iter()
        .max_by(|a, b| a.0.largest(a.1).total_cmp(&b.0.largest(b.1)))
        .map_or(*first, |(error, _)| *error);
    let said = format!(
        "seen from the front, the file's backs are off its fronts on {} of {} sheets, at worst {} \
         them",
        crooked.len(),
        known.len(),
        in_words(&worst)
    );
    (said, true)
}

/// Whether a file's error stands out from its uncertainty and is worth speaking of.
pub(crate) fn is_crooked(error: &FileError, size: Size) -> bool {
    let real = error.real(size).ok();
    let largest = |map: Affine<Front>| FileError { map, ..*error }.largest(size);
    real.is_some_and(|real| largest(real) > STRAIGHT_MM)
}

/// "1.3 mm left of", with tilt and stretch where they show.
pub(crate) fn in_words(error: &FileError) -> String {
    let mut said = Vec::new();
    let shift: Vector<Front> = error.shift;
    let mut add = |value: f64, plus: &str, minus: &str| {
        if value.abs() >= 0.05 {
            said.push(format!(
                "{:.1} mm {}",
                value.abs(),
                if value > 0.0 { plus } else { minus }
            ));
        }
    };
    add(shift.x, "right", "left");
    add(shift.y, "lower", "higher");
    let mut text = said.join(" and ");
    if !text.is_empty() {
        text.push_str(if shift.y.abs() >= 0.05 {
            " than"
        } else {
            " of"
        });
    }
    let tilt = error.tilt.to_degrees();
    if tilt.abs() > (3.0 * error.tilt_sd.to_degrees()).max(0.03) {
        let way = if tilt > 0.0 {
            "clockwise"
        } else {
            "anticlockwise"
        };
        let and = if text.is_empty() { "" } else { " and tilted " };
        let lead = if text.is_empty() { "tilted " } else { "" };
        // Tilt and place are told of the same two things.
        let place = text
            .trim_end_matches(" than")
            .trim_end_matches(" of")
            .to_owned();
        text = format!("{place}{and}{lead}{:.2}° {way} against", tilt.abs());
    }
    if text.is_empty() {
        "stretched against".to_owned()
    } else {
        text
    }
}
