//! A file that is crooked in itself, corrected with `--and-file`: rendered by poppler, its back
//! turned over as the flip says, and every dot of the front looked for behind itself.

mod common;

use std::path::Path;

use common::{Tympan, dots, pages};
use image::imageops::{flip_horizontal, flip_vertical};
use image::{DynamicImage, RgbImage};
use tympan_pdf::draw::{self, Meta};
use tympan_sheet::drawing::{Colour, Drawing, Path as Outline};
use tympan_sheet::{Affine, Angle, Flip, Page, Point, Size, Vector};

const A4: Size = Size::new(210.0, 297.0);
const CARD: Size = Size::new(57.0, 87.0);
/// Five pixels in a mm, so that the page is a whole number of them and turns over exactly.
const DPI: f64 = 127.0;

/// Cards of one colour in three columns and rows, a little off the sheet's middle, with dots to
/// measure by. On the back they lie where they belong behind the front.
fn side(back: Option<Flip>) -> Drawing {
    let mut page = Drawing::new(A4);
    for (i, j) in (0..3).flat_map(|i| (0..3).map(move |j| (i, j))) {
        let (x, y) = (12.0 + 61.0 * f64::from(i), 9.0 + 91.0 * f64::from(j));
        let place = |x: f64, y: f64| match back {
            None => (x, y),
            Some(Flip::Sideways) => (A4.w - x, y),
            Some(Flip::Endways) => (x, A4.h - y),
        };
        let (a, b) = (place(x, y), place(x + CARD.w, y + CARD.h));
        let tone = 0.55 + 0.04 * (3.0 * f64::from(i) + f64::from(j)) as f32;
        let colour = match back {
            None => Colour::Rgb(0.85, tone, 0.5),
            Some(_) => Colour::Rgb(0.45, 0.6, 0.8),
        };
        let card = Outline::rect(a.0.min(b.0), a.1.min(b.1), CARD.w, CARD.h);
        page.fill(card, colour);
        for (dx, dy) in [(10.0, 12.0), (47.0, 30.0), (20.0, 75.0)] {
            let (x, y) = place(x + dx, y + dy);
            page.fill(Outline::circle(x, y, 3.2), Colour::WHITE);
            page.fill(Outline::circle(x, y, 1.5), Colour::BLACK);
        }
    }
    page
}

/// What a careless layout did to the backs, as seen on their page.
fn crooked(tilt: f64) -> Affine<Page> {
    Affine::tilt(Angle::degrees(tilt), A4.centre()).then(&Affine::shift(Vector::new(1.2, -0.7)))
}

fn game(pdf: &Path, flip: Flip, tilt: f64) {
    let mut back = Drawing::new(A4);
    back.place(crooked(tilt), None, side(Some(flip)).items);
    let file = draw::write(&[side(None), back], &Meta::new("A crooked sheet")).expect("a file");
    std::fs::write(pdf, file).expect("written");
}

/// From each dot of the front to the nearest one of the back as it lies behind it, mm.
fn apart(pdf: &Path, flip: Flip) -> Vec<Vector<Page>> {
    let px_per_mm = DPI / 25.4;
    // Poppler adds a pixel where a page is a hair wider than a whole number of them.
    let px = |mm: f64| (mm * px_per_mm).round() as u32;
    let picture = |page: &DynamicImage| page.crop_imm(0, 0, px(A4.w), px(A4.h)).to_rgb8();
    let pages: Vec<RgbImage> = pages(pdf, DPI).iter().map(picture).collect();
    let back = match flip {
        Flip::Sideways => flip_horizontal(&pages[1]),
        Flip::Endways => flip_vertical(&pages[1]),
    };
    let points = |picture, channel| -> Vec<Point<Page>> {
        let found = dots(picture, channel, px_per_mm);
        found.into_iter().map(|(x, y)| Point::new(x, y)).collect()
    };
    let (fronts, backs) = (points(&pages[0], 0), points(&back, 0));
    assert_eq!((fronts.len(), backs.len()), (27, 27));
    fronts
        .iter()
        .map(|front| {
            let off = backs.iter().map(|back| *back - *front);
            off.min_by(|a, b| a.length().total_cmp(&b.length()))
                .expect("a back")
        })
        .collect()
}

fn largest(apart: &[Vector<Page>]) -> f64 {
    apart.iter().map(|v| v.length()).fold(0.0, f64::max)
}

#[test]
fn a_crooked_file_is_straight_after_its_own_error_is_taken_out() {
    for (flip, tilt) in [
        (Flip::Sideways, 0.0),
        (Flip::Sideways, 0.3),
        (Flip::Endways, 0.3),
    ] {
        let tympan = Tympan::new();
        let (before, after) = (tympan.path("game.pdf"), tympan.path("right.pdf"));
        game(&before, flip, tilt);
        assert!(largest(&apart(&before, flip)) > 1.3, "{flip} {tilt}");
        let flip_word = flip.to_string();
        let args = ["correct", "game.pdf", "-o", "right.pdf", "--and-file"];
        tympan.run(&[&args[..], &["--flip", &flip_word]].concat());
        let left = largest(&apart(&after, flip));
        assert!(left < 0.05, "{flip} {tilt}: {left} mm");
    }
}

/// The printer's part is done besides: what is left is what was asked for, and no more.
#[test]
fn a_move_of_the_backs_comes_on_top_of_the_file_s_own_error() {
    let tympan = Tympan::new();
    game(&tympan.path("game.pdf"), Flip::Sideways, 0.3);
    let args = ["correct", "game.pdf", "-o", "right.pdf", "--and-file"];
    tympan.run(&[&args[..], &["--move", "2mm up, 0.5mm right"]].concat());
    for off in apart(&tympan.path("right.pdf"), Flip::Sideways) {
        // Right on the back is left from the front.
        let rest = off - Vector::new(-0.5, -2.0);
        assert!(rest.length() < 0.05, "{off:?}");
    }
}

#[test]
fn a_straight_file_is_left_as_it_is() {
    let tympan = Tympan::new();
    let pages = [side(None), side(Some(Flip::Sideways))];
    let file = draw::write(&pages, &Meta::new("A straight sheet")).expect("a file");
    std::fs::write(tympan.path("game.pdf"), file).expect("written");
    tympan.run(&["correct", "game.pdf", "-o", "right.pdf", "--and-file"]);
    let (before, after) = (tympan.path("game.pdf"), tympan.path("right.pdf"));
    let moved = largest(&apart(&after, Flip::Sideways));
    assert!((moved - largest(&apart(&before, Flip::Sideways))).abs() < 0.005);
}

#[test]
fn a_file_without_cards_is_refused() {
    let tympan = Tympan::new();
    let mut page = Drawing::new(A4);
    page.fill(Outline::circle(60.0, 60.0, 20.0), Colour::BLACK);
    let file = draw::write(&[page.clone(), page], &Meta::new("No cards")).expect("a file");
    std::fs::write(tympan.path("game.pdf"), file).expect("written");
    let said = tympan.refused(&["correct", "game.pdf", "-o", "right.pdf", "--and-file"]);
    assert!(said.contains("can be laid on each other"), "{said}");
}
