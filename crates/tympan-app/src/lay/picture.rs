//! Plans as small pictures, to choose from.

use tympan_layout::{Group, Plan};
use tympan_sheet::drawing::{Colour, Drawing, Path, Stroke, Text};

/// The first sheet of a group: the paper, its printable part, and the cards with their numbers in
/// reading order, as seen on the front.
pub(super) fn of_group(plan: &Plan, group: &Group) -> Drawing {
    let size = plan.sheet.size;
    let mut drawing = Drawing::new(size);
    drawing.fill(Path::rect(0.0, 0.0, size.w, size.h), Colour::WHITE);
    let thin = size.w.max(size.h) / 400.0;
    let area = plan.sheet.printable(plan.is_two_sided());
    drawing.stroke(
        Path::rect(area.min.x, area.min.y, area.size().w, area.size().h),
        Stroke::solid(Colour::Grey(0.6), thin).dashed(&[4.0 * thin, 4.0 * thin]),
    );
    for (i, cell) in group.cells.iter().enumerate() {
        let is_used = group.sheets.iter().any(|units| units[i].is_some());
        let bleed = cell.bleed.around(cell.trim);
        if is_used {
            drawing.fill(
                Path::rect(bleed.min.x, bleed.min.y, bleed.size().w, bleed.size().h),
                Colour::Grey(0.93),
            );
        }
    }
    for (i, cell) in group.cells.iter().enumerate() {
        drawing.fill(cell.outline(), Colour::Grey(0.8));
        drawing.stroke(cell.outline(), Stroke::solid(Colour::Grey(0.2), 2.0 * thin));
        let centre = cell.trim.centre();
        let (w, h) = (cell.trim.size().w, cell.trim.size().h);
        let letters = (w.min(h) * 0.45).min(20.0);
        let number = Text::new(
            centre.x,
            centre.y + letters * 0.35,
            letters,
            (i + 1).to_string(),
        );
        drawing.text(number.centred().colour(Colour::Grey(0.2)));
    }
    if let Some(fold) = plan.fold {
        let line = match fold.flip() {
            tympan_sheet::Flip::Sideways => Path::line(fold.at, 0.0, fold.at, size.h),
            tympan_sheet::Flip::Endways => Path::line(0.0, fold.at, size.w, fold.at),
        };
        let dash = [8.0 * thin, 4.0 * thin];
        drawing.stroke(line, Stroke::solid(Colour::BLACK, 2.0 * thin).dashed(&dash));
    }
    drawing.stroke(
        Path::rect(0.0, 0.0, size.w, size.h),
        Stroke::solid(Colour::Grey(0.3), 3.0 * thin),
    );
    drawing
}
