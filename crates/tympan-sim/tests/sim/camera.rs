//! Simulated photos against the light, checked by pinhole arithmetic and by OpenCV.

use crate::common::{Light, Shape, assert_near, page};
use tympan_sheet::{Flip, Size};
use tympan_sim::{Backlight, Camera, Hand, Media, Pose, PrintedSheet, Printer, Rng, Side};

const A4: Size = Size::new(210.0, 297.0);

/// A pinhole of 3 megapixels.
fn small() -> Camera {
    Camera {
        size: [1512, 2016],
        focal: 1450.0,
        ..Camera::pinhole()
    }
}

fn bare(caliper: f64, flip: Flip) -> PrintedSheet {
    let blank = page(A4, 1.0, &[]);
    let media = Media {
        caliper,
        formation: 0.0,
        ..Media::CARD
    };
    Printer {
        media,
        ..Printer::exact(A4, flip)
    }
    .print(0, &blank, &blank)
}

/// `cv2.projectPoints` of OpenCV 5.0.0 for focal length 2900 px, principal point (1524, 2009),
/// k1 0.04, k2 −0.02, the sheet at 320 mm, aimed 3 mm right of and 5 mm above its middle, its foot
/// brought nearer by 5°, its right edge by 4°, then turned clockwise by 2°.
#[test]
fn places_are_projected_as_opencv_projects_them() {
    let camera = Camera {
        principal: [12.0, -7.0],
        k1: 0.04,
        k2: -0.02,
        ..Camera::pinhole()
    };
    let pose = Pose {
        distance: 320.0,
        aim: [3.0, -5.0],
        lean_deg: 5.0,
        swing_deg: -4.0,
        roll_deg: 2.0,
        seed: 0,
    };
    let view = camera.look(&bare(0.3, Flip::Sideways), Side::Front, &pose);
    for (p, wanted) in [
        ([20.0, 30.0], [795.95146, 1005.35662]),
        ([190.0, 30.0], [2295.9163, 1012.58127]),
        ([105.0, 148.5], [1495.29334, 2053.36335]),
        ([20.0, 270.0], [668.7507, 3154.41646]),
        ([190.0, 270.0], [2270.16898, 3246.33369]),
    ] {
        assert_near(
            view.pixel_of_page(Side::Front, p),
            wanted,
            1e-4,
            &format!("{p:?}"),
        );
    }
    // The far face lies 0.3 mm deeper; looking at the back, x runs the other way.
    for (p, wanted) in [
        ([190.0, 30.0], [796.78006, 1006.49213]),
        ([20.0, 270.0], [2269.62063, 3245.36298]),
    ] {
        assert_near(
            view.pixel_of_page(Side::Back, p),
            wanted,
            1e-4,
            &format!("far {p:?}"),
        );
    }
}

/// Square on from `d`, a place at distance ρ from the axis on the far face of a card `t` thick is
/// seen `ρ t / (d + t)` nearer to the axis, measured on the near face.
#[test]
fn parallax_is_that_of_a_pinhole() {
    let camera = Camera::pinhole();
    let pose = Pose {
        distance: 450.0,
        ..Pose::square(&camera, A4, 0.8)
    };
    for (facing, flip) in [
        (Side::Front, Flip::Sideways),
        (Side::Back, Flip::Sideways),
        (Side::Back, Flip::Endways),
    ] {
        let view = camera.look(&bare(0.3, flip), facing, &pose);
        let near = [195.0, 278.5];
        let far = match flip {
            Flip::Sideways => [15.0, 278.5],
            Flip::Endways => [195.0, 18.5],
        };
        let a = view.pixel_of_sheet(facing, near);
        let b = view.pixel_of_sheet(facing.other(), far);
        // ρ = hypot(90, 130) = 158.114 mm; 158.114 · 0.3 / 450.3 = 0.105 34 mm; 2900/450 px/mm.
        let seen = (a[0] - b[0]).hypot(a[1] - b[1]) * 450.0 / 2900.0;
        assert!((seen - 0.105_34).abs() < 1e-5, "{facing} {flip}: {seen}");
        assert!(b[0] < a[0] && b[1] < a[1], "towards the middle");
    }
}

/// The picture itself: near and far marks lie where the view says, from either side, for a leaning
/// sheet and a bending lens.
#[test]
fn marks_of_both_faces_are_found_where_the_truth_says() {
    let front = page(
        A4,
        8.0,
        &[Shape::Disc(40.0, 60.0, 3.0), Shape::Disc(170.0, 240.0, 3.0)],
    );
    let back = page(
        A4,
        8.0,
        &[
            Shape::Disc(60.0, 110.0, 3.0),
            Shape::Disc(160.0, 200.0, 3.0),
        ],
    );
    let media = Media {
        caliper: 0.4,
        formation: 0.0,
        ..Media::CARD
    };
    for flip in [Flip::Sideways, Flip::Endways] {
        let sheet = Printer {
            media,
            ..Printer::exact(A4, flip)
        }
        .print(0, &front, &back);
        for facing in [Side::Front, Side::Back] {
            let camera = Camera {
                k1: 0.05,
                k2: -0.02,
                blur: 0.8,
                ..small()
            };
            let pose = Pose {
                lean_deg: 6.0,
                swing_deg: 5.0,
                roll_deg: 3.0,
                ..Pose::square(&camera, A4, 0.75)
            };
            let photo = camera.photo(&sheet, facing, &pose, &Backlight::even(0.4));
            let seen = Light::of(&photo.image);
            for (side, marks) in [
                (Side::Front, [[40.0, 60.0], [170.0, 240.0]]),
                (Side::Back, [[60.0, 110.0], [160.0, 200.0]]),
            ] {
                for mark in marks {
                    let told = photo.view.pixel_of_page(side, mark);
                    let found = seen.dark_at(told, 22.0);
                    // A tilted disc's centroid lies up to a tenth of a pixel off its centre.
                    assert_near(
                        found,
                        told,
                        0.15,
                        &format!("{facing} {flip} {side} {mark:?}"),
                    );
                }
            }
        }
    }
}

#[test]
fn far_marks_have_the_contrast_asked_for() {
    let back = page(A4, 4.0, &[Shape::Block(60.0, 100.0, 150.0, 200.0)]);
    let blank = page(A4, 1.0, &[]);
    let media = Media {
        formation: 0.0,
        ..Media::CARD
    };
    let sheet = Printer {
        media,
        ..Printer::exact(A4, Flip::Sideways)
    }
    .print(0, &blank, &back);
    let camera = small();
    let pose = Pose::square(&camera, A4, 0.8);
    for contrast in [0.02, 0.05, 0.2, 0.5] {
        let light = Backlight {
            level: 0.7,
            ..Backlight::even(contrast)
        };
        let photo = camera.photo(&sheet, Side::Front, &pose, &light);
        let seen = Light::of(&photo.image);
        let [marked, bare] = [150.0, 60.0]
            .map(|y| seen.mean(photo.view.pixel_of_sheet(Side::Front, [105.0, y]), 20.0));
        let found = 1.0 - marked / bare;
        assert!(
            (found / (0.97 * contrast) - 1.0).abs() < 0.25,
            "{contrast}: {found}"
        );
    }
}

#[test]
fn a_leaning_sheet_shows_its_nearer_end_larger() {
    let camera = Camera::pinhole();
    let sheet = bare(0.2, Flip::Sideways);
    let width = |pose: &Pose, y: f64| {
        let view = camera.look(&sheet, Side::Front, pose);
        let [a, b] = [5.0, 205.0].map(|x| view.pixel_of_sheet(Side::Front, [x, y]));
        b[0] - a[0]
    };
    let square = Pose::square(&camera, A4, 0.8);
    let lean = Pose {
        lean_deg: 8.0,
        ..square
    };
    assert!(
        width(&lean, 280.0) > 1.1 * width(&lean, 17.0),
        "the foot is nearer"
    );
    let view = camera.look(
        &sheet,
        Side::Front,
        &Pose {
            swing_deg: 8.0,
            ..square
        },
    );
    let height = |x: f64| {
        let [a, b] = [20.0, 280.0].map(|y| view.pixel_of_sheet(Side::Front, [x, y]));
        b[1] - a[1]
    };
    assert!(
        height(10.0) > 1.05 * height(200.0),
        "the left edge is nearer"
    );
}

#[test]
fn a_hand_casts_its_shadow_where_it_is() {
    let camera = Camera {
        size: [756, 1008],
        focal: 725.0,
        ..Camera::pinhole()
    };
    let pose = Pose::square(&camera, A4, 0.8);
    let hand = Hand {
        at: [20.0, 250.0],
        radius: 40.0,
        soft: 20.0,
        strength: 0.5,
    };
    let light = Backlight {
        hand: Some(hand),
        ..Backlight::even(0.1)
    };
    let photo = camera.photo(&bare(0.2, Flip::Sideways), Side::Front, &pose, &light);
    let seen = Light::of(&photo.image);
    let at = |p| seen.mean(photo.view.pixel_of_sheet(Side::Front, p), 8.0);
    assert!((at([25.0, 240.0]) / at([150.0, 60.0]) - 0.5).abs() < 0.03);
}

#[test]
fn hand_held_poses_keep_the_sheet_in_the_picture() {
    for seed in 0..300 {
        let camera = Camera::phone(seed);
        let pose = Pose::by_hand(&camera, A4, seed);
        let view = camera.look(&bare(0.2, Flip::Sideways), Side::Front, &pose);
        for corner in [[0.0, 0.0], [210.0, 0.0], [210.0, 297.0], [0.0, 297.0]] {
            let pixel = view.pixel_of_sheet(Side::Front, corner);
            assert!(
                view.shows(pixel, 5.0),
                "seed {seed}: {corner:?} at {pixel:?}"
            );
        }
    }
}

#[test]
fn the_cheap_photo_finds_marks_with_the_error_asked_for() {
    let camera = Camera::phone(2);
    let view = camera.look(
        &bare(0.2, Flip::Sideways),
        Side::Front,
        &Pose::by_hand(&camera, A4, 2),
    );
    let mut rng = Rng::new(1);
    let told = view.pixel_of_page(Side::Back, [100.0, 100.0]);
    let marks = vec![[100.0, 100.0]; 20_000];
    let squares: f64 = view
        .find(Side::Back, &marks, 0.2, &mut rng)
        .into_iter()
        .map(|found| found.map_or(f64::NAN, |f| (f[0] - told[0]).powi(2)))
        .sum();
    assert!(((squares / 20_000.0).sqrt() - 0.2).abs() < 0.004);
}
