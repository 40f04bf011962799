//! Sheet numbers in the waste: where there is room for them, and what they look like.

use tympan_pdf::draw::{cap_height, text_width};
use tympan_sheet::drawing::{Colour, Drawing, Face, Path, Text};
use tympan_sheet::{Angle, Page, Point, Rect, Side, Size};

/// Where a sheet's number stands on one side, in the frame of that side's page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Its box.
    pub area: Rect<Page>,
    /// Whether it stands on its side, read from the right.
    pub on_side: bool,
}

/// Boxes that a number is tried in, the largest first: length and height, mm.
const BOXES: [(f64, f64); 3] = [(17.0, 4.0), (13.0, 3.0), (9.5, 2.2)];
/// What stays free around everything that is printed, mm.
const CLEAR_MM: f64 = 1.0;
/// How finely places are tried along an edge, mm.
const STEP_MM: f64 = 1.0;

/// A free place for a number along an edge of a page: within what the printer can print, and clear
/// of all that is printed there. `margins` are top, right, bottom, left.
pub fn place(page: Size, margins: [f64; 4], printed: &[Rect<Page>]) -> Option<Place> {
    let [top, right, bottom, left] = margins;
    let may: Rect<Page> = Rect {
        min: Point::new(left, top),
        max: Point::new(page.w - right, page.h - bottom),
    };
    let is_free = |area: Rect<Page>| {
        let clear = area.grown(CLEAR_MM);
        !printed.iter().any(|ink| overlap(clear, *ink))
    };
    for (length, height) in BOXES {
        let flat = Size::new(length, height);
        let upright = flat.turned();
        // Foot and head first: there a number is read without turning the sheet.
        for y in [may.max.y - height, may.min.y] {
            for x in steps(may.min.x, may.max.x - length) {
                let area = Rect::at(Point::new(x, y), flat);
                if y >= may.min.y && is_free(area) {
                    return Some(Place {
                        area,
                        on_side: false,
                    });
                }
            }
        }
        for x in [may.min.x, may.max.x - height] {
            for y in steps(may.min.y, may.max.y - length) {
                let area = Rect::at(Point::new(x, y), upright);
                if x >= may.min.x && is_free(area) {
                    return Some(Place {
                        area,
                        on_side: true,
                    });
                }
            }
        }
    }
    None
}

fn steps(from: f64, to: f64) -> impl Iterator<Item = f64> {
    let count = if to >= from {
        ((to - from) / STEP_MM) as usize + 1
    } else {
        0
    };
    (0..count).map(move |i| from + i as f64 * STEP_MM)
}

fn overlap(a: Rect<Page>, b: Rect<Page>) -> bool {
    a.min.x < b.max.x && b.min.x < a.max.x && a.min.y < b.max.y && b.min.y < a.max.y
}

/// A page with nothing but a sheet's number on one side: an arrow to the page's head, the number,
/// and the side.
pub fn mark(page: Size, place: &Place, label: &str, side: Side) -> Drawing {
    let mut drawing = Drawing::new(page);
    let Rect { min, .. } = place.area;
    let Size { w, h } = place.area.size();
    let ink = Colour::BLACK;
    let thin = w.min(h);
    let middle = place.area.centre();
    // The arrow always points to the head.
    let at = if place.on_side {
        (middle.x, place.area.max.y - thin / 2.0)
    } else {
        (min.x + thin / 2.0, middle.y)
    };
    drawing.fill(arrow(at.0, at.1, thin), ink);
    let words = format!("{label} {side}");
    let room = w.max(h) - 1.2 * thin;
    let size = (thin * 0.9).min(room / text_width(&words, 1.0, Face::Bold));
    let drop = cap_height(size, Face::Bold) / 2.0;
    let text = if place.on_side {
        let y = place.area.max.y - thin * 1.2;
        Text::new(middle.x + drop, y, size, words).tilted(Angle::degrees(-90.0))
    } else {
        Text::new(min.x + thin * 1.2, middle.y + drop, size, words)
    };
    drawing.text(text.face(Face::Bold).colour(ink));
    drawing
}

/// An arrow that points up, as high as `size`, about its middle.
fn arrow(x: f64, y: f64, size: f64) -> Path {
    let (h, w) = (size / 2.0, size * 0.32);
    let stem = w * 0.36;
    Path::polygon(&[
        (x, y - h),
        (x + w, y - h * 0.1),
        (x + stem, y - h * 0.1),
        (x + stem, y + h),
        (x - stem, y + h),
        (x - stem, y - h * 0.1),
        (x - w, y - h * 0.1),
    ])
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const A4: Size = Size::new(210.0, 297.0);

    fn block(x0: f64, y0: f64, x1: f64, y1: f64) -> Rect<Page> {
        Rect {
            min: Point::new(x0, y0),
            max: Point::new(x1, y1),
        }
    }

    #[test]
    fn a_number_stands_in_the_waste_that_is_there() {
        // Waste at the foot only, then at the left only.
        let foot = place(A4, [4.0; 4], &[block(0.0, 0.0, 210.0, 280.0)]).expect("room");
        assert!(!foot.on_side && foot.area.min.y >= 281.0);
        let left = place(A4, [4.0; 4], &[block(12.0, 0.0, 210.0, 297.0)]).expect("room");
        assert!(left.on_side && left.area.max.x <= 11.0);
    }

    #[test]
    fn where_print_reaches_the_edges_there_is_no_number() {
        assert_eq!(place(A4, [4.0; 4], &[block(0.0, 0.0, 210.0, 297.0)]), None);
        // A rear tray that leaves 13 mm blank at the foot, and cards up to there.
        let cards = block(6.0, 6.0, 204.0, 284.0);
        assert_eq!(place(A4, [4.0, 4.0, 13.0, 4.0], &[cards]), None);
    }

    #[test]
    fn the_arrow_points_to_the_head_wherever_the_number_stands() {
        for on_side in [false, true] {
            let size = if on_side {
                Size::new(4.0, 17.0)
            } else {
                Size::new(17.0, 4.0)
            };
            let place = Place {
                area: Rect::at(Point::new(50.0, 60.0), size),
                on_side,
            };
            let drawing = mark(A4, &place, "17", Side::Front);
            let tympan_sheet::drawing::Item::Shape { path, .. } = &drawing.items[0] else {
                panic!("an arrow");
            };
            let points: Vec<Point<Page>> = path
                .segments
                .iter()
                .filter_map(|segment| match segment {
                    tympan_sheet::drawing::Segment::Move(p)
                    | tympan_sheet::drawing::Segment::Line(p) => Some(*p),
                    _ => None,
                })
                .collect();
            let tip = points.iter().map(|p| p.y).fold(f64::INFINITY, f64::min);
            assert_eq!(
                points.iter().filter(|p| p.y == tip).count(),
                1,
                "one tip, at the top"
            );
            assert!(points.iter().all(|p| place.area.grown(0.01).contains(*p)));
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn a_place_is_free_and_can_be_printed(
            blocks in prop::collection::vec((0.0..200.0, 0.0..290.0, 1.0..120.0, 1.0..120.0), 0..8),
            margins in prop::array::uniform4(0.0..15.0),
        ) {
            let blocks: Vec<_> = blocks
                .into_iter()
                .map(|(x, y, w, h)| block(x, y, x + w, y + h))
                .collect();
            if let Some(place) = place(A4, margins, &blocks) {
                let [top, right, bottom, left] = margins;
                let may = block(left, top, 210.0 - right, 297.0 - bottom).grown(1e-9);
                prop_assert!(may.contains(place.area.min) && may.contains(place.area.max));
                for ink in &blocks {
                    let met = place.area.grown(0.5).meet(*ink);
                    prop_assert!(met.is_none(), "{:?} on {:?}", place, ink);
                }
            }
        }
    }
}
