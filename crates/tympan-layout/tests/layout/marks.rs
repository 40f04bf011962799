//! Marks lie in the waste, in line with the trim, and can be printed.

use tympan_layout::{ArtId, CutMarks, FoldOver, Job, Marks, Piece, Plan, Sheet, Unmeasured, plan};
use tympan_sheet::drawing::{Colour, Item, Segment};
use tympan_sheet::{Flip, Rect, Shape, Size};

const A4: Size = Size::new(210.0, 297.0);
const LETTER: Size = Size::new(215.9, 279.4);

/// A grid: pieces that may not be turned.
fn planned(size: Size, gutter: f64, w: f64, h: f64, copies: usize) -> Plan {
    let shape = Shape::rect(Size::new(w, h), 3.0);
    let pieces = vec![Piece {
        may_turn: false,
        ..Piece::new("harbour", shape, ArtId(0), Some(ArtId(1))).copies(copies)
    }];
    let job = Job {
        gutter,
        ..Job::new(pieces, Sheet::new(size, Flip::Endways, 4.2))
    };
    plan(&job, &Unmeasured, 1).expect("a plan").swap_remove(0)
}

type Line = ((f64, f64), (f64, f64));

/// The straight lines of a colour.
fn lines(items: &[Item], of: Colour) -> Vec<Line> {
    let mut lines = Vec::new();
    for item in items {
        let Item::Shape {
            path,
            stroke: Some(stroke),
            ..
        } = item
        else {
            panic!("marks are lines: {item:?}");
        };
        let mut at = (0.0, 0.0);
        for segment in &path.segments {
            match *segment {
                Segment::Move(p) => at = (p.x, p.y),
                Segment::Line(p) => {
                    if stroke.colour == of {
                        lines.push((at, (p.x, p.y)));
                    }
                    at = (p.x, p.y);
                }
                Segment::Curve(_, _, p) => at = (p.x, p.y),
                Segment::Close => {}
            }
        }
    }
    lines
}

/// Whether a line runs through a rectangle.
fn runs_into<F: tympan_sheet::Frame>(line: &Line, r: Rect<F>) -> bool {
    let ((ax, ay), (bx, by)) = *line;
    ax.max(bx) > r.min.x + 1e-6
        && ax.min(bx) < r.max.x - 1e-6
        && ay.max(by) > r.min.y + 1e-6
        && ay.min(by) < r.max.y - 1e-6
}

#[test]
fn trim_marks_stand_outside_every_bleed_at_both_ends_of_every_outer_cut() {
    for (gutter, w, h) in [
        (0.0, 63.5, 88.9),
        (6.0, 63.5, 88.9),
        (6.0, 44.0, 63.0),
        (0.0, 55.0, 85.0),
    ] {
        for cuts in [CutMarks::Trim, CutMarks::Ticks] {
            let plan = planned(A4, gutter, w, h, 54);
            let marks = plan.marks(
                0,
                &Marks {
                    cuts,
                    ..Marks::default()
                },
            );
            assert_eq!(marks.without_mark, 0);
            assert!(marks.back.is_empty());
            let drawn = lines(&marks.front, Colour::BLACK);
            let white = lines(&marks.front, Colour::WHITE);
            for cell in &plan.groups[0].cells {
                let bleed = cell.bleed.around(cell.trim);
                for line in &drawn {
                    // Where there is no waste, on white: see below.
                    let clear = if white.contains(line) {
                        cell.trim.grown(1.0)
                    } else {
                        bleed
                    };
                    assert!(!runs_into(line, clear), "{cuts:?} {gutter}: {line:?}");
                }
            }
            let waste_enough = gutter == 0.0 && w > 60.0;
            assert!(!waste_enough || white.is_empty());
            for ((ax, ay), (bx, by)) in &drawn {
                for (x, y) in [(ax, ay), (bx, by)] {
                    assert!(*x >= 4.2 - 1e-9 && *x <= 210.0 - 4.2 + 1e-9, "{x}");
                    assert!(*y >= 4.2 - 1e-9 && *y <= 297.0 - 4.2 + 1e-9, "{y}");
                }
            }
            // Both ends of every upright and every level trim line.
            let middle = 297.0 / 2.0;
            for cell in &plan.groups[0].cells {
                for x in [cell.trim.min.x, cell.trim.max.x] {
                    let on = |l: &&Line| (l.0.0 - x).abs() < 1e-6 && (l.1.0 - x).abs() < 1e-6;
                    assert!(drawn.iter().filter(on).any(|l| l.0.1 < middle), "{x} above");
                    assert!(drawn.iter().filter(on).any(|l| l.0.1 > middle), "{x} below");
                }
                for y in [cell.trim.min.y, cell.trim.max.y] {
                    let on = |l: &&Line| (l.0.1 - y).abs() < 1e-6 && (l.1.1 - y).abs() < 1e-6;
                    assert!(drawn.iter().filter(on).any(|l| l.0.0 < 105.0), "{y} left");
                    assert!(drawn.iter().filter(on).any(|l| l.0.0 > 105.0), "{y} right");
                }
            }
        }
    }
}

/// On Letter, three poker cards leave 2.15 mm of bleed at head and foot and nothing beyond: the
/// marks there lie on the bleed, on white, and stay a millimetre from the trim.
#[test]
fn where_there_is_no_waste_marks_lie_on_the_bleed_and_stay_off_the_card() {
    let plan = planned(LETTER, 0.0, 63.5, 88.9, 9);
    let marks = plan.marks(0, &Marks::default());
    assert_eq!(marks.without_mark, 0);
    let white = lines(&marks.front, Colour::WHITE);
    assert_eq!(white.len(), 8, "four upright lines, two ends each");
    for cell in &plan.groups[0].cells {
        for line in &white {
            assert!(!runs_into(line, cell.trim.grown(1.0)), "{line:?}");
        }
    }
}

#[test]
fn marks_on_the_back_lie_behind_those_on_the_front_and_only_when_asked_for() {
    let plan = planned(A4, 0.0, 63.5, 88.9, 9);
    let both = Marks {
        on_backs: true,
        ..Marks::default()
    };
    let marks = plan.marks(0, &both);
    let key = |x: f64| (x * 1000.0).round() as i64;
    let sorted = |lines: Vec<Line>, map: &dyn Fn((f64, f64)) -> (f64, f64)| {
        let mut all: Vec<[(i64, i64); 2]> = lines
            .into_iter()
            .map(|(a, b)| {
                let mut ends = [map(a), map(b)].map(|(x, y)| (key(x), key(y)));
                ends.sort_unstable();
                ends
            })
            .collect();
        all.sort_unstable();
        all
    };
    let front = sorted(lines(&marks.front, Colour::BLACK), &|p| p);
    // Endways: x stays, y is reversed.
    let back = sorted(lines(&marks.back, Colour::BLACK), &|(x, y)| (x, 297.0 - y));
    assert_eq!(front, back);
    assert_eq!(front.len(), 16);
}

#[test]
fn light_lines_follow_the_trim_once() {
    let plan = planned(A4, 0.0, 63.5, 88.9, 9);
    let marks = plan.marks(
        0,
        &Marks {
            cuts: CutMarks::Lines,
            on_backs: false,
            corners: false,
        },
    );
    // 3 × 3 without gutters: 12 upright and 12 level edges, none twice.
    assert_eq!(lines(&marks.front, Colour::Grey(0.7)).len(), 24);
}

#[test]
fn corner_guides_lie_in_what_is_rounded_off() {
    let plan = planned(A4, 0.0, 63.5, 88.9, 1);
    let marks = plan.marks(
        0,
        &Marks {
            cuts: CutMarks::None,
            on_backs: false,
            corners: true,
        },
    );
    let Item::Shape { path, .. } = &marks.front[0] else {
        panic!("an outline");
    };
    let trim = plan.groups[0].cells[0].trim;
    let mut arcs = 0;
    for segment in &path.segments {
        if let Segment::Curve(_, _, end) = segment {
            arcs += 1;
            let near_x = (end.x - trim.min.x).min(trim.max.x - end.x);
            let near_y = (end.y - trim.min.y).min(trim.max.y - end.y);
            let (edge, radius) = (near_x.min(near_y), near_x.max(near_y));
            assert!(edge.abs() < 1e-9 && (radius - 3.0).abs() < 1e-9, "{end:?}");
        }
    }
    assert_eq!(arcs, 4);
}

#[test]
fn a_fold_is_marked_where_it_runs() {
    let shape = Shape::rect(Size::new(63.5, 88.9), 3.0);
    let pieces = vec![Piece::new("harbour", shape, ArtId(0), Some(ArtId(1))).copies(4)];
    let job = Job {
        fold_over: Some(FoldOver {
            along: None,
            allowance: 0.3,
        }),
        ..Job::new(pieces, Sheet::new(A4, Flip::Endways, 4.2))
    };
    let plan = &plan(&job, &Unmeasured, 1).expect("a plan")[0];
    let marks = plan.marks(
        0,
        &Marks {
            cuts: CutMarks::None,
            ..Marks::default()
        },
    );
    let fold = lines(&marks.front, Colour::BLACK);
    assert_eq!(fold.len(), 2, "one at each end");
    let at = plan.fold.expect("it is folded").at;
    let upright = (at - 105.0).abs() < 1e-9;
    for ((ax, ay), (bx, by)) in fold {
        let (a, b) = if upright { (ax, bx) } else { (ay, by) };
        assert!((a - at).abs() < 1e-9 && (b - at).abs() < 1e-9);
    }
}
