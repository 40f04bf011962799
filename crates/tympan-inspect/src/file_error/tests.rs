use image::imageops::{flip_horizontal, flip_vertical};
use image::{GrayImage, Luma};
use tympan_sheet::Back;

use super::*;
use crate::testing::{A4, grid, page};

const PX_PER_MM: f64 = 4.0;

/// A page with a disc at the middle of every cell.
fn drawn(cells: &PageCells) -> GrayImage {
    let px = |mm: f64| (mm * PX_PER_MM).round() as u32;
    let mut picture = GrayImage::from_pixel(px(cells.size.w), px(cells.size.h), Luma([255]));
    let grid = &cells.grids[0];
    for row in 0..grid.rows {
        for column in 0..grid.columns {
            let middle = grid.centre(column, row);
            let (left, top) = (px(middle.x - 4.0), px(middle.y - 4.0));
            for y in top..top + px(8.0) {
                for x in left..left + px(8.0) {
                    let at = |p: u32| (f64::from(p) + 0.5) / PX_PER_MM;
                    // A soft edge, so that the middle is known to a fraction of a pixel.
                    let r = (at(x) - middle.x).hypot(at(y) - middle.y);
                    let ink = ((3.0 - r) * PX_PER_MM + 0.5).clamp(0.0, 1.0);
                    let grey = (255.0 * (1.0 - ink)).round() as u8;
                    picture.put_pixel(x, y, Luma([grey]));
                }
            }
        }
    }
    picture
}

/// The middle of the ink within 15 mm of a place.
fn disc_near(picture: &GrayImage, near: Point<Front>) -> Point<Front> {
    let (mut x_sum, mut y_sum, mut sum) = (0.0, 0.0, 0.0);
    for (x, y, pixel) in picture.enumerate_pixels() {
        let at = |p: u32| (f64::from(p) + 0.5) / PX_PER_MM;
        let (x, y) = (at(x), at(y));
        if (x - near.x).hypot(y - near.y) < 15.0 {
            let ink = 255.0 - f64::from(pixel.0[0]);
            x_sum += ink * x;
            y_sum += ink * y;
            sum += ink;
        }
    }
    assert!(sum > 0.0, "a disc near {near:?}");
    Point::new(x_sum / sum, y_sum / sum)
}

/// The back that belongs behind a front, and then what a careless hand did to it on its page.
fn back_of(front: &Grid, sheet: Size, flip: Flip, done: &Affine<Back>) -> Grid {
    let last = match flip {
        Flip::Sideways => front.centre(front.columns - 1, 0),
        Flip::Endways => front.centre(0, front.rows - 1),
    };
    let middle = flip.to_back(Point::new(last.x, last.y), sheet);
    let moved = done.apply(middle);
    let parts = done.decompose();
    let trim = front.trim;
    let rotation = Angle::radians(parts.tilt.to_radians() - front.rotation.to_radians());
    let to_corner = Affine::<Page>::tilt(rotation, Point::new(0.0, 0.0))
        .apply_vector(Vector::new(-trim.w / 2.0, -trim.h / 2.0));
    Grid {
        pitch: Vector::new(
            front.pitch.x * (1.0 + parts.stretch_x),
            front.pitch.y * (1.0 + parts.stretch_y),
        ),
        origin: Point::<Page>::new(moved.x, moved.y) + to_corner,
        rotation,
        ..front.clone()
    }
}

/// Draws both pages, turns the back's picture over and looks where its discs lie.
#[test]
fn the_error_is_where_the_flipped_back_is_seen_to_lie() {
    // A whole number of pixels, so that a picture turned over is the page turned over.
    for sheet in [A4, Size::new(280.0, 216.0)] {
        for flip in [Flip::Sideways, Flip::Endways] {
            for tilted in [0.0, 0.6] {
                let mut front = grid(2, 3, Size::new(50.0, 55.0), Point::new(20.0, 15.0));
                front.rotation = Angle::degrees(tilted);
                let done = Affine::<Back>::tilt(Angle::degrees(0.5), sheet.centre())
                    .then(&Affine::scale(1.004, 0.997, sheet.centre()))
                    .then(&Affine::shift(Vector::new(1.2, 0.5)));
                let back = back_of(&front, sheet, flip, &done);
                let (front, back) = (page(0, sheet, front), page(1, sheet, back));
                let error = file_error(&front, &back, flip).expect("the same cards");
                let seen = match flip {
                    Flip::Sideways => flip_horizontal(&drawn(&back)),
                    Flip::Endways => flip_vertical(&drawn(&back)),
                };
                let fronts = drawn(&front);
                let grid = &front.grids[0];
                for (column, row) in [(0, 0), (1, 0), (0, 2), (1, 2)] {
                    let near = on_front(grid.centre(column, row));
                    let lies = disc_near(&fronts, near);
                    let behind = disc_near(&seen, near);
                    let told = error.map.apply(lies);
                    assert!(
                        (told - behind).length() < 0.02,
                        "{flip} {tilted} {sheet:?}: {lies:?} told {told:?} seen {behind:?}"
                    );
                }
            }
        }
    }
}

/// The eight sign cases by name: what is seen on the back page, 2 mm, and what it is in the front
/// frame (the design's list).
#[test]
fn backs_that_are_low_high_left_or_right_on_their_page_have_the_sign_of_a_register_error() {
    let cases = [
        (Flip::Sideways, "low", (0.0, 2.0), (0.0, 2.0)),
        (Flip::Sideways, "high", (0.0, -2.0), (0.0, -2.0)),
        (Flip::Sideways, "left", (-2.0, 0.0), (2.0, 0.0)),
        (Flip::Sideways, "right", (2.0, 0.0), (-2.0, 0.0)),
        (Flip::Endways, "low", (0.0, 2.0), (0.0, -2.0)),
        (Flip::Endways, "high", (0.0, -2.0), (0.0, 2.0)),
        (Flip::Endways, "left", (-2.0, 0.0), (-2.0, 0.0)),
        (Flip::Endways, "right", (2.0, 0.0), (2.0, 0.0)),
    ];
    for (flip, name, (dx, dy), want) in cases {
        let front = grid(3, 3, Size::new(60.0, 80.0), Point::new(12.0, 20.0));
        let back = back_of(&front, A4, flip, &Affine::shift(Vector::new(dx, dy)));
        let error = file_error(&page(0, A4, front), &page(1, A4, back), flip).expect("alike");
        assert!(
            (error.shift - Vector::new(want.0, want.1)).length() < 1e-9,
            "{flip} {name}: {:?}",
            error.shift
        );
        assert!(error.tilt.to_degrees().abs() < 1e-9);
    }
}

#[test]
fn a_straight_file_has_no_error_worth_taking_out() {
    let front = grid(3, 3, Size::new(63.5, 88.9), Point::new(9.0, 15.0));
    let back = back_of(&front, A4, Flip::Sideways, &Affine::IDENTITY);
    let error = file_error(&page(0, A4, front), &page(1, A4, back), Flip::Sideways).expect("alike");
    assert!(error.largest(A4) < 1e-9);
    let real = error.real(A4).expect("a map");
    assert!(real.is_close(&Affine::IDENTITY, 1e-9));
}

#[test]
fn a_tilt_within_its_uncertainty_is_not_taken_out_but_a_plain_shift_is() {
    let front = grid(3, 3, Size::new(63.5, 88.9), Point::new(9.0, 15.0));
    let done = Affine::<Back>::tilt(Angle::degrees(0.05), A4.centre())
        .then(&Affine::shift(Vector::new(1.3, 0.0)));
    let mut back = back_of(&front, A4, Flip::Sideways, &done);
    back.pitch_sd = 0.05;
    let error = file_error(&page(0, A4, front), &page(1, A4, back), Flip::Sideways).expect("alike");
    assert!(error.tilt_sd > 0.0005, "{}", error.tilt_sd);
    let real = error.real(A4).expect("a map");
    let want = Affine::shift(Vector::new(-1.3, 0.0));
    assert!(real.is_close(&want, 1e-3), "{real:?}");
}

#[test]
fn backs_with_a_row_fewer_are_laid_on_the_cells_they_belong_to() {
    let front = grid(3, 3, Size::new(60.0, 85.0), Point::new(10.0, 15.0));
    let mut back = back_of(
        &front,
        A4,
        Flip::Endways,
        &Affine::shift(Vector::new(0.0, 0.8)),
    );
    // The front's last row has nothing on it, nor has the back's first; the back's grid was found
    // from its second row on.
    back.rows = 2;
    back.origin = back.origin + Vector::new(0.0, 85.0);
    back.filled = vec![true; 6];
    let (front, back) = (page(0, A4, front), page(1, A4, back));
    let error = file_error(&front, &back, Flip::Endways).expect("alike");
    assert!((error.shift - Vector::new(0.0, -0.8)).length() < 1e-9);
}

#[test]
fn other_cards_have_no_error_between_them() {
    let front = page(
        0,
        A4,
        grid(3, 3, Size::new(63.5, 88.9), Point::new(9.0, 15.0)),
    );
    let back = page(
        1,
        A4,
        grid(4, 4, Size::new(44.0, 63.0), Point::new(9.0, 15.0)),
    );
    assert_eq!(file_error(&front, &back, Flip::Sideways), None);
}

#[test]
fn the_uncertainty_of_a_shift_grows_with_the_distance_from_the_cells() {
    let near = grid(2, 2, Size::new(50.0, 50.0), Point::new(55.0, 98.0));
    let far = grid(2, 2, Size::new(50.0, 50.0), Point::new(5.0, 5.0));
    let sd = |front: Grid| {
        let back = back_of(&front, A4, Flip::Sideways, &Affine::IDENTITY);
        file_error(&page(0, A4, front), &page(1, A4, back), Flip::Sideways)
            .expect("alike")
            .shift_sd
    };
    assert!(sd(far) > 1.2 * sd(near));
}

#[test]
fn a_page_that_was_rounded_is_not_called_crooked_for_that() {
    // A browser's A4 is 793 pixels wide; the cards lie where they would on 210 mm.
    let size = Size::new(209.889, 297.011);
    let front = page(
        0,
        size,
        grid(3, 3, Size::new(63.5, 88.9), Point::new(5.0, 14.0)),
    );
    let back = page(
        1,
        size,
        grid(3, 3, Size::new(63.5, 88.9), Point::new(14.5, 14.0)),
    );
    let error = file_error(&front, &back, Flip::Sideways).expect("an error");
    assert!((error.shift.x + 0.111).abs() < 1e-6, "{error:?}");
    assert!(
        error.shift_sd > 0.05 && !is_crooked(&error, size),
        "{error:?}"
    );
    // Flipped endways the width does not matter.
    let error = file_error(&front, &back, Flip::Endways).expect("an error");
    assert!(error.shift_sd < 0.03, "{error:?}");
}
