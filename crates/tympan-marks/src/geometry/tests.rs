use super::*;

/// Papers from A5 to A3 (ISO 216, JIS P 0138, ANSI Y14.1) and the two ends of what is allowed.
pub(crate) const PAPERS: [(f64, f64); 14] = [
    (148.0, 210.0),
    (176.0, 250.0),
    (182.0, 257.0),
    (184.15, 266.7),
    (210.0, 297.0),
    (215.9, 279.4),
    (215.9, 355.6),
    (250.0, 353.0),
    (257.0, 364.0),
    (279.4, 431.8),
    (297.0, 420.0),
    (139.7, 215.9),
    (320.0, 450.0),
    (329.9, 482.6),
];

fn every_geometry() -> impl Iterator<Item = Geometry> {
    PAPERS.into_iter().flat_map(|(w, h)| {
        [Flip::Sideways, Flip::Endways]
            .map(|flip| Geometry::new(Size::new(w, h), flip).expect("a paper that fits"))
    })
}

type Op = fn((f64, f64), Size) -> (f64, f64);

const OPS: [Op; 4] = [
    |p, _| p,
    |(x, y), s| (s.w - x, y),
    |(x, y), s| (x, s.h - y),
    |(x, y), s| (s.w - x, s.h - y),
];

/// How many of the moved points have no partner within 1 mm.
fn strangers(from: &[Point<Front>], to: &[Point<Front>], op: Op, paper: Size) -> usize {
    let near = |(x, y): (f64, f64)| to.iter().any(|q| (q.x - x).hypot(q.y - y) < 1.0);
    from.iter().filter(|p| !near(op((p.x, p.y), paper))).count()
}

#[test]
fn no_mirror_half_turn_or_exchange_of_sides_matches_the_marks() {
    for g in every_geometry() {
        let paper = g.paper();
        for (k, op) in OPS.into_iter().enumerate() {
            for from in Side::BOTH {
                for to in Side::BOTH {
                    if k == 0 && from == to {
                        continue;
                    }
                    let marks = g.marks(from);
                    let lost = strangers(marks, g.marks(to), op, paper);
                    let needed = 3.max(marks.len() / 7);
                    assert!(
                        lost >= needed,
                        "{paper:?} {k} {from} {to}: {lost} of {}",
                        marks.len()
                    );
                }
            }
        }
    }
}

/// A back printed with the wrong flip lies half turned behind its front: none of what is left of
/// it may pass for the right one.
#[test]
fn the_marks_of_one_flip_are_those_of_the_other_seen_from_the_front() {
    for (w, h) in PAPERS {
        let sideways = Geometry::new(Size::new(w, h), Flip::Sideways).expect("fits");
        let endways = Geometry::new(Size::new(w, h), Flip::Endways).expect("fits");
        assert_eq!(sideways.marks(Side::Back), endways.marks(Side::Back));
        for &p in sideways.marks(Side::Back) {
            let (a, b) = (
                sideways.seen_on(Side::Back, p),
                endways.seen_on(Side::Back, p),
            );
            assert!((a.x + b.x - sideways.paper().w).abs() < 1e-9);
            assert!((a.y + b.y - sideways.paper().h).abs() < 1e-9);
        }
    }
}

#[test]
fn what_shows_through_never_lies_under_a_mark() {
    for g in every_geometry() {
        for a in g.marks(Side::Front) {
            for b in g.marks(Side::Back) {
                assert!((*a - *b).length() >= PITCH - 1e-9);
            }
        }
    }
}

#[test]
fn marks_keep_their_distance_from_the_edges_and_from_all_else() {
    for g in every_geometry() {
        let Size { w, h } = g.paper();
        for side in Side::BOTH {
            assert!(
                g.marks(side).len() >= 11,
                "{} on {:?}",
                g.marks(side).len(),
                g.paper()
            );
            for &p in g.marks(side) {
                let edge = p.x.min(p.y).min(w - p.x).min(h - p.y);
                assert!(edge - MARK_RADIUS >= MARK_EDGE - 1e-9);
                for b in g.furniture() {
                    assert!(distance_to(b, p) >= MARK_RADIUS + MARK_GUARD);
                }
                let seen = g.seen_on(side, p);
                for [a, b] in [g.rule_across(), g.rule_down()] {
                    let x = seen.x.clamp(a.x, b.x);
                    let y = seen.y.clamp(a.y, b.y);
                    assert!((seen.x - x).hypot(seen.y - y) >= MARK_RADIUS + MARK_GUARD);
                }
            }
        }
    }
}

#[test]
fn furniture_lies_apart_and_clear_of_the_edges() {
    for g in every_geometry() {
        let Size { w, h } = g.paper();
        let mut boxes = vec![g.panel()];
        boxes.extend(End::BOTH.map(|end| g.code_box(end)));
        boxes.extend(End::BOTH.map(|end| g.text_box(end)));
        boxes.extend(g.stations().map(|s| {
            Rect::at(
                Point::new(s.at.x - STATION_HALF, s.at.y - STATION_HALF),
                Size::new(2.0 * STATION_HALF, 2.0 * STATION_HALF),
            )
        }));
        let strip = |[a, b]: [Point<Page>; 2]| Rect { min: a, max: b }.grown(0.9);
        let across = strip(g.rule_across());
        for (k, a) in boxes.iter().enumerate() {
            let inside = a.min.x >= CLEAR_EDGE - 1e-9
                && a.min.y >= CLEAR_EDGE - 1e-9
                && a.max.x <= w - CLEAR_EDGE + 1e-9
                && a.max.y <= h - CLEAR_EDGE + 1e-9;
            assert!(inside, "{a:?} on {:?}", g.paper());
            for b in boxes[k + 1..]
                .iter()
                .chain([&across, &strip(g.rule_down())])
            {
                let apart = a.max.x <= b.min.x + 1e-9
                    || b.max.x <= a.min.x + 1e-9
                    || a.max.y <= b.min.y + 1e-9
                    || b.max.y <= a.min.y + 1e-9;
                assert!(apart, "{a:?} and {b:?} on {:?}", g.paper());
            }
        }
        assert!(across.min.x >= CLEAR_EDGE && across.max.x <= w - CLEAR_EDGE);
    }
}

/// Seen from the front, the four codes of a sheet lie at four places, also when the back was
/// printed with the wrong flip.
#[test]
fn no_code_lies_behind_another() {
    for g in every_geometry() {
        let mut seen = Vec::new();
        for side in Side::BOTH {
            for end in End::BOTH {
                seen.push(g.seen_from_front(side, g.code_box(end).centre()));
            }
        }
        for (k, a) in seen.iter().enumerate() {
            for b in &seen[k + 1..] {
                let d = *a - *b;
                assert!(
                    d.x.abs().max(d.y.abs()) >= CODE_BOX_MM - 3.3,
                    "{:?}",
                    g.paper()
                );
            }
        }
    }
}

#[test]
fn a_landscape_paper_is_held_upright() {
    let g = Geometry::new(Size::new(297.0, 210.0), Flip::Sideways).expect("A4");
    assert_eq!(g.paper(), Size::new(210.0, 297.0));
}

#[test]
fn cards_and_posters_are_refused() {
    for (w, h) in [
        (105.0, 148.0),
        (420.0, 594.0),
        (139.0, 1000.0),
        (f64::NAN, 297.0),
    ] {
        assert!(
            Geometry::new(Size::new(w, h), Flip::Sideways).is_err(),
            "{w} × {h}"
        );
    }
}

/// Pictures of sheets that people have printed must stay readable: this fails when the places of
/// the marks change without a new version in the code.
#[test]
fn the_geometry_of_version_1_is_fixed() {
    let g = Geometry::new(Size::new(210.0, 297.0), Flip::Sideways).expect("A4");
    let sum = |side| {
        let marks = g.marks(side).iter().enumerate();
        marks
            .map(|(k, p)| (k + 1) as f64 * (p.x + 3.0 * p.y))
            .sum::<f64>()
    };
    let found = (g.marks(Side::Front).len(), g.marks(Side::Back).len());
    assert_eq!(found, (50, 51));
    assert_eq!((sum(Side::Front), sum(Side::Back)), (855_750.0, 874_698.0));
}
