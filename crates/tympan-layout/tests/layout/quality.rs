//! Where register is known, pieces lie where it is best, and rejects are counted.

use tympan_layout::{ArtId, Edge, Job, Measured, Piece, Place, Quality, Sheet, Unmeasured, plan};
use tympan_register::{Basis, Cutting, Field, NextSheet};
use tympan_sheet::{FeedAxis, Flip, Point, Rect, Shape, Size};

const A4: Size = Size::new(210.0, 297.0);

/// A printer whose sheets tilt about the point `(x, y)` by 0.3 mm per 100 mm and wander by 0.1 mm.
/// About the sheet's centre the same errors are tilt and shift together: turning by θ about P
/// shifts the centre by `θ·(P_y − c_y)` to the right and `θ·(c_x − P_x)` down.
fn tilting_about(x: f64, y: f64) -> NextSheet {
    let basis = Basis {
        sheet: A4,
        feed: FeedAxis::Y,
    };
    let (theta, own) = (0.3, 0.1);
    let lever = [(y - 148.5) / 100.0, (105.0 - x) / 100.0, 1.0].map(|l| l * theta);
    let mut covariance = [[0.0; 3]; 3];
    for i in 0..3 {
        for j in 0..3 {
            covariance[i][j] = lever[i] * lever[j];
        }
    }
    covariance[0][0] += own * own;
    covariance[1][1] += own * own;
    NextSheet::known(Field::new(basis, [0.0; 8]), covariance)
}

fn cards(edge: Edge) -> Vec<Piece> {
    let shape = Shape::rect(Size::new(63.5, 88.9), 3.0);
    vec![Piece {
        edge,
        ..Piece::new("harbour", shape, ArtId(0), Some(ArtId(1))).copies(24)
    }]
}

#[test]
fn farther_from_the_tilts_centre_is_worse() {
    let next = tilting_about(105.0, 60.0);
    let quality = Measured {
        next: &next,
        cutting: Cutting::new(0.1),
    };
    let good = |y: f64| {
        quality.good(&Place {
            trim: Rect::at(Point::new(73.0, y), Size::new(63.5, 88.9)),
            bleed: 0.4,
            edge: Edge::Bled,
        })
    };
    let (near, middle, far) = (good(15.0), good(100.0), good(200.0));
    assert!(
        near > middle + 0.02 && middle > far + 0.02,
        "{near} {middle} {far}"
    );
}

#[test]
fn the_centre_of_the_tilt_is_found() {
    let next = tilting_about(80.0, 60.0);
    let quality = Measured {
        next: &next,
        cutting: Cutting::default(),
    };
    let centre = quality.centre().expect("it tilts");
    let off = (centre.x - 80.0).hypot(centre.y - 60.0);
    assert!(off < 8.0, "{centre:?}");
    let still = NextSheet::known(
        Field::new(
            Basis {
                sheet: A4,
                feed: FeedAxis::Y,
            },
            [0.0; 8],
        ),
        [[0.04, 0.0, 0.0], [0.0, 0.09, 0.0], [0.0, 0.0, 0.0]],
    );
    let still = Measured {
        next: &still,
        cutting: Cutting::default(),
    };
    assert!(still.centre().is_none(), "nothing tilts");
}

#[test]
fn pieces_are_gathered_about_the_tilts_centre_and_fewer_are_spoiled() {
    let next = tilting_about(105.0, 60.0);
    let quality = Measured {
        next: &next,
        cutting: Cutting::new(0.1),
    };
    // Two rows of three leave room to move.
    let job = Job {
        bleed: 0.5,
        least_bleed: 0.5,
        gutter: 6.0,
        ..Job::new(cards(Edge::Bled), Sheet::new(A4, Flip::Sideways, 4.2))
    };
    let top = |plan: &tympan_layout::Plan| plan.groups[0].cells[0].trim.min.y;
    let known = plan(&job, &quality, 1).expect("a plan").swap_remove(0);
    let blind = plan(&job, &|place: &Place| quality.good(place), 1)
        .expect("a plan")
        .swap_remove(0);
    assert!(
        top(&known) < top(&blind) - 2.0,
        "{} {}",
        top(&known),
        top(&blind)
    );
    let (a, b) = (
        known.figures.expected_rejects,
        blind.figures.expected_rejects,
    );
    assert!(a < b && a > 0.0, "{a} {b}");
    assert!(known.figures.spare_sheets >= 1);
}

#[test]
fn rejects_are_the_chances_of_all_pieces_added_up() {
    let job = Job::new(cards(Edge::Bled), Sheet::new(A4, Flip::Sideways, 4.2));
    // The left column is always spoiled.
    let quality = |place: &Place| if place.trim.min.x < 20.0 { 0.0 } else { 1.0 };
    let best = plan(&job, &quality, 9).expect("a plan").swap_remove(0);
    let spoiled: usize = best
        .sheets()
        .map(|(group, units)| {
            let left = |(i, u): &(usize, &Option<tympan_layout::Unit>)| {
                u.is_some() && group.cells[*i].trim.min.x < 20.0
            };
            units.iter().enumerate().filter(left).count()
        })
        .sum();
    assert!((best.figures.expected_rejects - spoiled as f64).abs() < 1e-9);
}

/// The quick way for many places against the thorough one for one.
#[test]
fn chances_are_those_of_the_bleed_and_border_rules() {
    let next = tilting_about(80.0, 60.0);
    let cutting = Cutting::new(0.1);
    let quality = Measured {
        next: &next,
        cutting,
    };
    for (edge, bleed) in [(Edge::Bled, 0.5), (Edge::Border(2.0), 0.0)] {
        let places: Vec<Place> = (0..12)
            .map(|i| Place {
                trim: Rect::at(
                    Point::new(
                        10.0 + 60.0 * f64::from(i % 3),
                        10.0 + 60.0 * f64::from(i / 3),
                    ),
                    Size::new(50.0, 40.0),
                ),
                bleed,
                edge,
            })
            .collect();
        let mut spread = (1.0_f64, 0.0_f64);
        for (place, good) in places.iter().zip(quality.good_each(&places)) {
            let cards = next.cards(&[place.trim], cutting);
            let thorough = match edge {
                Edge::Border(width) => 1.0 - cards.share_lopsided(width),
                _ => 1.0 - cards.share_white(bleed),
            };
            assert!(
                (good - thorough).abs() < 0.01,
                "{place:?}: {good}, {thorough}"
            );
            spread = (spread.0.min(good), spread.1.max(good));
        }
        assert!(
            spread.1 - spread.0 > 0.05,
            "else nothing is tested: {spread:?}"
        );
    }
}

#[test]
fn nothing_measured_means_nothing_expected() {
    let job = Job::new(
        cards(Edge::Border(3.0)),
        Sheet::new(A4, Flip::Sideways, 4.2),
    );
    let best = &plan(&job, &Unmeasured, 1).expect("a plan")[0];
    assert_eq!(best.figures.expected_rejects, 0.0);
    assert_eq!(best.figures.spare_sheets, 0);
}

/// One colour on all pieces runs over a cut that two of them share: what a cut that is off shows is
/// the same colour.
#[test]
fn pieces_alike_at_their_edges_may_share_cuts() {
    let next = tilting_about(105.0, 148.0);
    let quality = Measured {
        next: &next,
        cutting: Cutting::new(0.1),
    };
    let rejects = |edge, gutter| {
        let job = Job {
            gutter,
            ..Job::new(cards(edge), Sheet::new(A4, Flip::Sideways, 4.2))
        };
        let plans = tympan_layout::plan(&job, &quality, 1).expect("a plan");
        (
            plans[0].figures.expected_rejects,
            plans[0].figures.pieces as f64,
        )
    };
    let (alike, all) = rejects(Edge::Alike, 0.0);
    let (bled, _) = rejects(Edge::Bled, 0.0);
    let (apart, _) = rejects(Edge::Bled, 6.0);
    assert!(
        bled > 0.5 * all,
        "a shared cut shows the neighbour: {bled} of {all}"
    );
    assert!(
        alike < apart + 0.05 * all,
        "{alike}, but {apart} with room between"
    );
}
