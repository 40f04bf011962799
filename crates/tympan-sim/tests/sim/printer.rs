//! Simulated printers against what can be said without them: sheets are printed, looked at, and
//! the marks found where arithmetic on paper puts them.

use std::sync::Arc;

use crate::common::{Light, Shape, assert_near, page};
use image::DynamicImage;
use tympan_sheet::{FeedAxis, Flip, LeadingEdge, Point, QuarterTurn, Size};
use tympan_sim::{
    Hole, Margins, Media, Page, Placement, PrintedSheet, Printer, Rng, Scatter, Side,
};

/// A small sheet keeps the pictures small.
const SMALL: Size = Size::new(60.0, 80.0);
const A4: Size = Size::new(210.0, 297.0);
const PX: f64 = 10.0;

/// Prints a disc in the middle of both sides with the backs shifted as one sees them looking at
/// the back, looks through the sheet, and gives the way from the front's disc to the back's, mm.
fn seen_through(flip: Flip, right: f64, down: f64) -> [f64; 2] {
    let disc = page(SMALL, PX, &[Shape::Disc(30.0, 40.0, 2.0)]);
    let printer = Printer {
        backs: Placement::shifted(right, down),
        ..Printer::exact(SMALL, flip)
    };
    let sheet = printer.print(0, &disc, &disc);

    // First looking at the back itself, so that "low" is low.
    let back = Light::of(&DynamicImage::ImageRgb8(sheet.view(Side::Back, PX)));
    let wanted = [(30.0 + right) * PX, (40.0 + down) * PX];
    assert_near(
        back.dark_at([300.0, 400.0], 60.0),
        wanted,
        0.02,
        "looking at the back",
    );

    let both = DynamicImage::ImageRgb8(sheet.seen_through(PX));
    let [front, back] = [0, 1].map(|c| Light::channel(&both, c).dark_at([300.0, 400.0], 60.0));
    assert_near(front, [300.0, 400.0], 0.02, "the front's disc");
    let seen = [(back[0] - front[0]) / PX, (back[1] - front[1]) / PX];
    let told = sheet.register_error(Point::new(30.0, 40.0));
    assert_near(
        seen,
        [told.x, told.y],
        0.002,
        "the truth told and the truth seen",
    );
    seen
}

#[test]
fn backs_low_flipped_sideways_lie_low_from_the_front() {
    assert_near(
        seen_through(Flip::Sideways, 0.0, 2.0),
        [0.0, 2.0],
        0.005,
        "r",
    );
}

#[test]
fn backs_high_flipped_sideways_lie_high_from_the_front() {
    assert_near(
        seen_through(Flip::Sideways, 0.0, -2.0),
        [0.0, -2.0],
        0.005,
        "r",
    );
}

#[test]
fn backs_left_flipped_sideways_lie_right_from_the_front() {
    assert_near(
        seen_through(Flip::Sideways, -2.0, 0.0),
        [2.0, 0.0],
        0.005,
        "r",
    );
}

#[test]
fn backs_right_flipped_sideways_lie_left_from_the_front() {
    assert_near(
        seen_through(Flip::Sideways, 2.0, 0.0),
        [-2.0, 0.0],
        0.005,
        "r",
    );
}

#[test]
fn backs_low_flipped_endways_lie_high_from_the_front() {
    assert_near(
        seen_through(Flip::Endways, 0.0, 2.0),
        [0.0, -2.0],
        0.005,
        "r",
    );
}

#[test]
fn backs_high_flipped_endways_lie_low_from_the_front() {
    assert_near(
        seen_through(Flip::Endways, 0.0, -2.0),
        [0.0, 2.0],
        0.005,
        "r",
    );
}

#[test]
fn backs_left_flipped_endways_lie_left_from_the_front() {
    assert_near(
        seen_through(Flip::Endways, -2.0, 0.0),
        [-2.0, 0.0],
        0.005,
        "r",
    );
}

#[test]
fn backs_right_flipped_endways_lie_right_from_the_front() {
    assert_near(
        seen_through(Flip::Endways, 2.0, 0.0),
        [2.0, 0.0],
        0.005,
        "r",
    );
}

/// The worked example of the design: A4, seen on the back 2.1 low, 0.4 left, tilted 0.2°
/// clockwise about the sheet's centre.
#[test]
fn the_worked_example_comes_out_in_the_corner() {
    for (flip, corner) in [
        (Flip::Sideways, [-0.118, 2.467]),
        (Flip::Endways, [-0.918, -1.733]),
    ] {
        let backs = Placement {
            tilt_deg: 0.2,
            ..Placement::shifted(-0.4, 2.1)
        };
        let printer = Printer {
            backs,
            ..Printer::exact(A4, flip)
        };
        let blank = Arc::new(Page::blank(A4));
        let r = printer
            .print(0, &blank, &blank)
            .register_error(Point::new(0.0, 0.0));
        assert_near([r.x, r.y], corner, 6e-4, &flip.to_string());
    }
}

/// An L cannot be taken for its mirror image. Looking at either side of an exact print, one sees
/// the page as it was given; through the sheet, the back's is mirrored.
#[test]
fn each_side_reads_the_right_way_round_and_the_back_is_mirrored_through_the_sheet() {
    let l = page(
        SMALL,
        PX,
        &[
            Shape::Block(20.0, 20.0, 24.0, 50.0),
            Shape::Block(20.0, 46.0, 40.0, 50.0),
        ],
    );
    for (flip, foot) in [
        (Flip::Sideways, [25.0, 48.0]),
        (Flip::Endways, [35.0, 32.0]),
    ] {
        let sheet = Printer::exact(SMALL, flip).print(0, &l, &l);
        for side in [Side::Front, Side::Back] {
            let seen = Light::of(&DynamicImage::ImageRgb8(sheet.view(side, PX)));
            assert!(
                seen.at(350, 480) < 0.1,
                "{flip} {side}: the foot of the L is at the right"
            );
            assert!(
                seen.at(350, 320) > 0.5,
                "{flip} {side}: nothing beside its stem"
            );
        }
        let through = DynamicImage::ImageRgb8(sheet.seen_through(PX));
        let back = Light::channel(&through, 1);
        let [x, y] = foot.map(|mm: f64| (mm * PX) as usize);
        assert!(
            back.at(x, y) < 0.1,
            "{flip}: the back's L through the sheet"
        );
    }
}

#[test]
fn both_flips_put_the_same_page_place_behind_a_named_place_of_the_front() {
    // 10 mm from the left and 20 mm from the head of the front lies, on the back, 10 mm from its
    // right edge for a book, and 20 mm from its foot for a notepad.
    for (flip, behind) in [
        (Flip::Sideways, (50.0, 20.0)),
        (Flip::Endways, (10.0, 60.0)),
    ] {
        let front = page(SMALL, PX, &[Shape::Disc(10.0, 20.0, 2.0)]);
        let back = page(SMALL, PX, &[Shape::Disc(behind.0, behind.1, 2.0)]);
        let sheet = Printer::exact(SMALL, flip).print(0, &front, &back);
        let both = DynamicImage::ImageRgb8(sheet.seen_through(PX));
        for channel in [0, 1] {
            let found = Light::channel(&both, channel).dark_at([100.0, 200.0], 50.0);
            assert_near(
                found,
                [100.0, 200.0],
                0.02,
                &format!("{flip}, channel {channel}"),
            );
        }
    }
}

/// Every term of a placement by hand, at a place 40 mm right of and 30 mm below the middle.
#[test]
fn each_term_of_a_placement_moves_print_as_it_says() {
    let blank = Arc::new(Page::blank(A4));
    let cases: [(&str, Placement, [f64; 2]); 7] = [
        ("shift", Placement::shifted(1.5, -0.5), [1.5, -0.5]),
        // 1° clockwise: right goes down, below goes left.
        (
            "tilt",
            Placement {
                tilt_deg: 1.0,
                ..Placement::EXACT
            },
            [
                40.0 * 0.999_848 - 30.0 * 0.017_452_4 - 40.0,
                40.0 * 0.017_452_4 + 30.0 * 0.999_848 - 30.0,
            ],
        ),
        (
            "stretch x",
            Placement {
                stretch: [0.002, 0.0],
                ..Placement::EXACT
            },
            [0.08, 0.0],
        ),
        (
            "stretch y",
            Placement {
                stretch: [0.0, -0.003],
                ..Placement::EXACT
            },
            [0.0, -0.09],
        ),
        // tan 0.5° = 0.008 727
        (
            "shear",
            Placement {
                shear_deg: 0.5,
                ..Placement::EXACT
            },
            [30.0 * 0.008_727, 0.0],
        ),
        // (30/100)² = 0.09
        (
            "bend",
            Placement {
                bend: [0.5, -1.0],
                ..Placement::EXACT
            },
            [0.045, -0.09],
        ),
        ("none", Placement::EXACT, [0.0, 0.0]),
    ];
    for (what, fronts, moved) in cases {
        let sheet = Printer {
            fronts,
            ..Printer::exact(A4, Flip::Sideways)
        }
        .print(0, &blank, &blank);
        let p = sheet.front(Point::new(145.0, 178.5));
        assert_near([p.x - 145.0, p.y - 178.5], moved, 3e-4, what);
    }
}

#[test]
fn the_bend_runs_along_the_feed() {
    let blank = Arc::new(Page::blank(A4));
    let fronts = Placement {
        bend: [0.0, 1.0],
        ..Placement::EXACT
    };
    let printer = Printer {
        fronts,
        feed: FeedAxis::X,
        ..Printer::exact(A4, Flip::Sideways)
    };
    let moved = printer
        .print(0, &blank, &blank)
        .front(Point::new(205.0, 148.5));
    assert_near(
        [moved.x, moved.y],
        [205.0, 149.5],
        1e-9,
        "100 mm along x from the middle",
    );
}

fn register_parts(sheet: &PrintedSheet) -> [f64; 3] {
    let middle = sheet.register_error(Point::new(105.0, 148.5));
    let [left, right] = [5.0, 205.0].map(|x| sheet.register_error(Point::new(x, 148.5)));
    [
        middle.x,
        middle.y,
        ((right.y - left.y) / 200.0).to_degrees(),
    ]
}

/// Sample covariance over 8,000 sheets against what was asked; a sample sd is within 0.8 % (sd),
/// a correlation within 0.011.
#[test]
fn scatter_has_the_covariance_asked_for() {
    let asked = Scatter {
        across: 0.2,
        along: 0.3,
        tilt_deg: 0.05,
        correlation: [0.5, -0.3, 0.2],
        stretch: 0.0,
        shear_deg: 0.0,
        fronts_share: 0.3,
    };
    let blank = Arc::new(Page::blank(A4));
    for (feed, flip) in [(FeedAxis::Y, Flip::Sideways), (FeedAxis::X, Flip::Endways)] {
        let printer = Printer {
            seed: 11,
            scatter: asked,
            feed,
            ..Printer::exact(A4, flip)
        };
        let n = 8000;
        let draws: Vec<[f64; 3]> = (0..n)
            .map(|j| {
                let [x, y, tilt] = register_parts(&printer.print(j, &blank, &blank));
                if feed == FeedAxis::Y {
                    [x, y, tilt]
                } else {
                    [y, x, tilt]
                }
            })
            .collect();
        let n = n as f64;
        let mean: [f64; 3] = std::array::from_fn(|a| draws.iter().map(|d| d[a]).sum::<f64>() / n);
        let cov = |a: usize, b: usize| {
            draws
                .iter()
                .map(|d| (d[a] - mean[a]) * (d[b] - mean[b]))
                .sum::<f64>()
                / n
        };
        for (a, sd) in [asked.across, asked.along, asked.tilt_deg]
            .into_iter()
            .enumerate()
        {
            assert!(
                (cov(a, a).sqrt() / sd - 1.0).abs() < 0.035,
                "{feed:?}: sd {a}"
            );
            assert!(
                mean[a].abs() < 4.0 * sd / n.sqrt(),
                "{feed:?}: mean {a} {}",
                mean[a]
            );
        }
        for ((a, b), rho) in [(0, 1), (0, 2), (1, 2)].into_iter().zip(asked.correlation) {
            let found = cov(a, b) / (cov(a, a) * cov(b, b)).sqrt();
            assert!(
                (found - rho).abs() < 0.045,
                "{feed:?}: correlation {a} {b} is {found}"
            );
        }
    }
}

#[test]
fn the_fronts_have_their_share_of_the_scatter() {
    let scatter = Scatter {
        along: 0.3,
        fronts_share: 0.25,
        ..Scatter::NONE
    };
    let printer = Printer {
        seed: 5,
        scatter,
        ..Printer::exact(A4, Flip::Sideways)
    };
    let blank = Arc::new(Page::blank(A4));
    let n = 6000;
    let square = |j| (printer.print(j, &blank, &blank).front(A4.centre()).y - 148.5).powi(2);
    let variance = (0..n).map(square).sum::<f64>() / n as f64;
    assert!((variance / (0.25 * 0.09) - 1.0).abs() < 0.08, "{variance}");
}

#[test]
fn stretch_and_shear_differ_from_sheet_to_sheet_as_asked() {
    let scatter = Scatter {
        stretch: 0.0003,
        shear_deg: 0.02,
        ..Scatter::NONE
    };
    let printer = Printer {
        seed: 5,
        scatter,
        ..Printer::exact(A4, Flip::Sideways)
    };
    let blank = Arc::new(Page::blank(A4));
    let n = 5000;
    let (mut sx, mut sy, mut k) = (0.0, 0.0, 0.0);
    for j in 0..n {
        let sheet = printer.print(j, &blank, &blank);
        let r = |x, y| sheet.register_error(Point::new(x, y));
        sx += ((r(205.0, 148.5).x - r(5.0, 148.5).x) / 200.0).powi(2);
        sy += ((r(105.0, 248.5).y - r(105.0, 48.5).y) / 200.0).powi(2);
        k += ((r(105.0, 248.5).x - r(105.0, 48.5).x) / 200.0).powi(2);
    }
    let sd = |sum: f64| (sum / n as f64).sqrt();
    assert!((sd(sx) / 0.0003 - 1.0).abs() < 0.05, "{}", sd(sx));
    assert!((sd(sy) / 0.0003 - 1.0).abs() < 0.05, "{}", sd(sy));
    assert!(
        (sd(k).atan().to_degrees() / 0.02 - 1.0).abs() < 0.05,
        "{}",
        sd(k)
    );
}

#[test]
fn a_printer_without_scatter_does_the_same_to_every_sheet() {
    let printer = Printer::faulty(9, A4, Flip::Endways);
    let blank = Arc::new(Page::blank(A4));
    let r = |printer: &Printer, j| {
        printer
            .print(j, &blank, &blank)
            .register_error(Point::new(20.0, 30.0))
    };
    assert_eq!(r(&printer.steady(), 1), r(&printer.steady(), 2));
    assert_ne!(r(&printer, 1), r(&printer, 2));
    assert_eq!(r(&printer, 1), r(&printer, 1), "the same sheet again");
}

/// A sheet that is too long or too short lies against its leading edge in both passes. With heads
/// together that is the same edge; with head to foot it is the other, and the backs are off by the
/// whole error of the cut.
#[test]
fn a_wrongly_cut_sheet_shifts_the_backs_where_another_edge_leads() {
    let blank = Arc::new(Page::blank(A4));
    let media = Media::CARD.cut_within(2.0);
    for j in 0..20 {
        let print = |flip| {
            Printer {
                media,
                ..Printer::exact(A4, flip)
            }
            .print(j, &blank, &blank)
        };
        let sheet = print(Flip::Sideways);
        let over = sheet.cut_size().h - 297.0;
        assert!(over.abs() <= 2.0);
        let r = sheet.register_error(A4.centre());
        assert_near(
            [r.x, r.y],
            [0.0, 0.0],
            1e-9,
            "heads together, head leads twice",
        );
        let r = print(Flip::Endways).register_error(A4.centre());
        assert_near([r.x, r.y], [0.0, over], 1e-9, "head to foot");
        let duplexer = Printer {
            media,
            back_leading: LeadingEdge::Foot,
            ..Printer::exact(A4, Flip::Sideways)
        };
        let r = duplexer
            .print(j, &blank, &blank)
            .register_error(A4.centre());
        assert_near(
            [r.x, r.y],
            [0.0, over],
            1e-9,
            "a duplexer that backs the sheet out",
        );
    }
}

#[test]
fn shrinking_between_the_passes_shrinks_the_first_side_only() {
    let blank = Arc::new(Page::blank(A4));
    let printer = |first| Printer {
        first,
        shrink: [0.001, 0.002],
        ..Printer::exact(A4, Flip::Sideways)
    };
    let corner = Point::new(5.0, 48.5);
    let sheet = printer(Side::Front).print(0, &blank, &blank);
    let r = sheet.register_error(corner);
    assert_near(
        [r.x, r.y],
        [-0.1, -0.2],
        1e-9,
        "fronts first: the fronts are drawn in",
    );
    let sheet = printer(Side::Back).print(0, &blank, &blank);
    let r = sheet.register_error(corner);
    assert_near(
        [r.x, r.y],
        [0.1, 0.2],
        1e-9,
        "backs first: the backs are drawn in",
    );
}

#[test]
fn a_page_fitted_to_the_paper_is_smaller_on_both_sides() {
    let discs = page(
        SMALL,
        PX,
        &[Shape::Disc(10.0, 40.0, 2.0), Shape::Disc(50.0, 40.0, 2.0)],
    );
    let printer = Printer {
        scale: 0.96,
        ..Printer::exact(SMALL, Flip::Sideways)
    };
    let sheet = printer.print(0, &discs, &discs);
    for side in [Side::Front, Side::Back] {
        let seen = Light::of(&DynamicImage::ImageRgb8(sheet.view(side, PX)));
        let [a, b] = [100.0, 500.0].map(|x| seen.dark_at([x, 400.0], 40.0));
        assert!(((b[0] - a[0]) / PX - 0.96 * 40.0).abs() < 0.005, "{side}");
    }
}

#[test]
fn nothing_is_printed_in_the_margins() {
    let black = page(SMALL, PX, &[Shape::Block(-5.0, -5.0, 65.0, 85.0)]);
    let margins = Margins {
        top: 3.0,
        right: 4.0,
        bottom: 12.0,
        left: 5.0,
    };
    let printer = Printer {
        margins,
        ..Printer::exact(SMALL, Flip::Endways)
    };
    let sheet = printer.print(0, &black, &black);
    for side in [Side::Front, Side::Back] {
        let seen = Light::of(&DynamicImage::ImageRgb8(sheet.view(side, PX)));
        for (x, y, bare) in [
            (300, 28, true),
            (300, 32, false),
            (562, 400, true),
            (558, 400, false),
            (300, 682, true),
            (300, 678, false),
            (48, 400, true),
            (52, 400, false),
        ] {
            assert_eq!(seen.at(x, y) > 0.5, bare, "{side} at {x}, {y}");
        }
    }
}

#[test]
fn a_landscape_page_turned_clockwise_has_its_head_at_the_sheets_right() {
    let landscape = page(SMALL.turned(), PX, &[Shape::Disc(15.0, 10.0, 2.0)]);
    let turned = Arc::new(landscape.turned(QuarterTurn::Clockwise));
    let blank = Arc::new(Page::blank(SMALL));
    let sheet = Printer::exact(SMALL, Flip::Sideways).print(0, &turned, &blank);
    let seen = Light::of(&DynamicImage::ImageRgb8(sheet.view(Side::Front, PX)));
    assert_near(
        seen.dark_at([500.0, 150.0], 50.0),
        [500.0, 150.0],
        0.02,
        "the disc",
    );
}

/// A pin goes through the printed mark of the front. On the back it is to be found where the
/// back's print shows it, and the hole seen in a picture of the back is where the prick says.
#[test]
fn a_prick_without_aim_error_reads_the_register_error_off_the_back() {
    for flip in [Flip::Sideways, Flip::Endways] {
        // Looking at the back: 1.2 mm low and 0.7 mm left.
        let backs = Placement::shifted(-0.7, 1.2);
        let printer = Printer {
            backs,
            ..Printer::exact(SMALL, flip)
        };
        let mark: Point<tympan_sheet::Front> = Point::new(20.0, 30.0);
        let behind = match flip {
            Flip::Sideways => [40.0, 30.0],
            Flip::Endways => [20.0, 50.0],
        };
        let front = page(SMALL, PX, &[Shape::Disc(mark.x, mark.y, 2.0)]);
        let back = page(SMALL, PX, &[Shape::Disc(10.0, 10.0, 2.0)]);
        let sheet = printer.print(0, &front, &back);
        let mut rng = Rng::new(1);
        let prick = sheet.prick(mark, 0.0, &mut rng);
        assert_near(
            [prick.front.x, prick.front.y],
            [20.0, 30.0],
            1e-9,
            "through the mark",
        );
        // Backs low and left put the hole above and to the right of the cross behind the mark.
        let wanted = [behind[0] + 0.7, behind[1] - 1.2];
        assert_near(
            [prick.back.x, prick.back.y],
            wanted,
            1e-9,
            "among the back's print",
        );

        let sheet = sheet.punched([Hole::round([prick.sheet.x, prick.sheet.y], 1.0)]);
        let seen = Light::of(&DynamicImage::ImageRgb8(sheet.view(Side::Back, PX)));
        let hole = seen.dark_at([wanted[0] * PX, wanted[1] * PX], 20.0);
        let print = seen.dark_at([100.0, 110.0], 40.0);
        // The back's page is read off its own printed disc, whose page place is (10, 10).
        let read = [
            10.0 + (hole[0] - print[0]) / PX,
            10.0 + (hole[1] - print[1]) / PX,
        ];
        assert_near(read, wanted, 0.01, "read off the picture of the back");
    }
}

#[test]
fn the_aim_error_has_the_size_asked_for() {
    let blank = Arc::new(Page::blank(A4));
    let sheet = Printer::faulty(3, A4, Flip::Sideways).print(1, &blank, &blank);
    let mark = Point::new(30.0, 40.0);
    let mut rng = Rng::new(8);
    let n = 20_000;
    let squares: f64 = (0..n)
        .map(|_| {
            (sheet.prick(mark, 0.15, &mut rng).sheet - sheet.front(mark))
                .length()
                .powi(2)
        })
        .sum();
    let sd = (squares / (2.0 * f64::from(n))).sqrt();
    assert!((sd - 0.15).abs() < 0.003, "{sd}");
}

#[test]
fn maps_and_their_inverses_agree_for_faulty_printers() {
    let blank = Arc::new(Page::blank(A4));
    for seed in 0..50 {
        let flip = if seed % 2 == 0 {
            Flip::Sideways
        } else {
            Flip::Endways
        };
        let sheet = Printer::faulty(seed, A4, flip).print(seed, &blank, &blank);
        for (x, y) in [(0.0, 0.0), (210.0, 5.0), (30.0, 290.0), (105.0, 148.5)] {
            let p = sheet.front_page_at(sheet.front(Point::new(x, y)));
            assert_near([p.x, p.y], [x, y], 1e-8, "front");
            let p = sheet.back_page_at(sheet.back(Point::new(x, y)));
            assert_near([p.x, p.y], [x, y], 1e-8, "back");
        }
    }
}
