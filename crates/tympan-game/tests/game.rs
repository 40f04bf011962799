//! The game's pieces and sheets, looked at by a renderer that is not the project's own.

use std::collections::HashSet;
use std::process::Command;

use image::{Rgb, RgbImage};
use tympan_game::sheets::{self, CROOKED, Grid};
use tympan_game::{BLEED, CARD, Piece};
use tympan_pdf::draw::{self, Meta};
use tympan_sheet::drawing::Drawing;
use tympan_sheet::{Flip, Size};

const A4: Size = Size::new(210.0, 297.0);
const LETTER: Size = Size::new(215.9, 279.4);
const PX_PER_MM: f64 = 8.0;
/// For measuring.
const FINE: f64 = 12.0;

/// The page as Poppler shows it.
fn render(page: &Drawing) -> RgbImage {
    render_at(page, PX_PER_MM)
}

fn render_at(page: &Drawing, px_per_mm: f64) -> RgbImage {
    let folder = tempfile::tempdir().expect("a folder");
    let pdf = folder.path().join("page.pdf");
    std::fs::write(
        &pdf,
        draw::write(std::slice::from_ref(page), &Meta::new("test")).expect("PDF"),
    )
    .expect("written");
    let dpi = format!("{}", px_per_mm * 25.4);
    let out = folder.path().join("page");
    let status = Command::new("pdftoppm")
        .args(["-r", &dpi, "-png", "-singlefile"])
        .args([&pdf, &out])
        .status()
        .expect("pdftoppm is missing: apt-get install -y poppler-utils");
    assert!(status.success());
    image::open(out.with_extension("png"))
        .expect("a picture")
        .to_rgb8()
}

fn luma(p: &Rgb<u8>) -> f64 {
    0.2126 * f64::from(p[0]) + 0.7152 * f64::from(p[1]) + 0.0722 * f64::from(p[2])
}

fn mirrored(back: &RgbImage, flip: Flip) -> RgbImage {
    match flip {
        Flip::Sideways => image::imageops::flip_horizontal(back),
        Flip::Endways => image::imageops::flip_vertical(back),
    }
}

/// The middles of the dark runs along a line of pixels, mm.
fn marks(line: impl Iterator<Item = f64>) -> Vec<f64> {
    let (mut found, mut weight, mut moment) = (Vec::new(), 0.0, 0.0);
    for (i, value) in line.chain([255.0]).enumerate() {
        let ink = 255.0 - value;
        if ink > 20.0 {
            weight += ink;
            moment += ink * (i as f64 + 0.5);
        } else if weight > 0.0 {
            found.push(moment / weight / FINE);
            (weight, moment) = (0.0, 0.0);
        }
    }
    found
}

/// From and to, for each card in a row or column.
type Spans = Vec<(f64, f64)>;

/// Where the trim marks in the margins of a front say that the cards lie, across and down.
fn trims(front: &RgbImage, grid: &Grid) -> (Spans, Spans) {
    let y = ((grid.origin.y - BLEED - 1.2) * FINE) as u32;
    let x = ((grid.origin.x - BLEED - 1.2) * FINE) as u32;
    let across = marks((0..front.width()).map(|i| luma(front.get_pixel(i, y))));
    let down = marks((0..front.height()).map(|i| luma(front.get_pixel(x, i))));
    // Without a gutter, neighbours share a mark.
    let spans = |marks: Vec<f64>, gutter: f64| -> Spans {
        let step = if gutter > 0.0 { 2 } else { 1 };
        marks
            .windows(2)
            .step_by(step)
            .map(|pair| (pair[0], pair[1]))
            .collect()
    };
    (spans(across, grid.gutter.w), spans(down, grid.gutter.h))
}

/// How far the dark panels of a back lie inside the trims that the front's marks show, mm: left,
/// top, right, bottom for each cell, all as seen from the front.
fn insets(
    back: &RgbImage,
    paper: Size,
    flip: Flip,
    (across, down): &(Spans, Spans),
) -> Vec<[f64; 4]> {
    let mut found = vec![[f64::MAX, f64::MAX, f64::MIN, f64::MIN]; across.len() * down.len()];
    let span = |spans: &Spans, at: f64| {
        spans
            .iter()
            .position(|(from, to)| (from..to).contains(&&at))
    };
    for (x, y, pixel) in back.enumerate_pixels() {
        if luma(pixel) >= 190.0 {
            continue;
        }
        // The middle of the pixel, on the back as seen and then from the front.
        let seen = ((f64::from(x) + 0.5) / FINE, (f64::from(y) + 0.5) / FINE);
        let (x, y) = match flip {
            Flip::Sideways => (paper.w - seen.0, seen.1),
            Flip::Endways => (seen.0, paper.h - seen.1),
        };
        if let (Some(column), Some(row)) = (span(across, x), span(down, y)) {
            let half = 0.5 / FINE;
            let [l, t, r, b] = &mut found[row * across.len() + column];
            (*l, *t) = (l.min(x - half), t.min(y - half));
            (*r, *b) = (r.max(x + half), b.max(y + half));
        }
    }
    for (cell, [l, t, r, b]) in found.iter_mut().enumerate() {
        let (x, y) = (across[cell % across.len()], down[cell / across.len()]);
        (*l, *t, *r, *b) = (*l - x.0, *t - y.0, x.1 - *r, y.1 - *b);
    }
    found
}

/// Marks on the front, panels on the back: where the marks say, to 0.1 mm.
fn check_behind(pages: &[Drawing], paper: Size, flip: Flip, expected: [f64; 4], cards: usize) {
    let grid = Grid::fitting(paper, CARD, BLEED);
    let front = render_at(&pages[0], FINE);
    let back = render_at(&pages[1], FINE);
    let trims = trims(&front, &grid);
    assert_eq!(
        (trims.0.len(), trims.1.len()),
        (grid.columns, grid.rows),
        "marks"
    );
    let found = insets(&back, paper, flip, &trims);
    for (cell, found) in found.iter().take(cards).enumerate() {
        for (found, expected) in found.iter().zip(expected) {
            assert!(
                (found - expected).abs() < 0.1,
                "{flip}, card {cell}: {found} for {expected}"
            );
        }
    }
}

#[test]
fn backs_lie_behind_their_fronts_on_every_paper_and_flip() {
    for (paper, cards) in [(A4, 9), (LETTER, 9), (A4.turned(), 8), (LETTER.turned(), 8)] {
        for flip in [Flip::Sideways, Flip::Endways] {
            check_behind(
                &sheets::deck_sheets(paper, flip),
                paper,
                flip,
                [4.0; 4],
                cards,
            );
        }
    }
}

#[test]
fn the_unique_backs_lie_behind_their_own_fronts() {
    let pages = sheets::deck_sheets(A4, Flip::Sideways);
    let last = &pages[pages.len() - 2..];
    check_behind(last, A4, Flip::Sideways, [4.0; 4], 4);
    // Each front's title and its back's pennant have the same colour.
    let (front, back) = (
        render(&last[0]),
        mirrored(&render(&last[1]), Flip::Sideways),
    );
    let grid = Grid::fitting(A4, CARD, BLEED);
    for cell in 0..4 {
        let trim = grid.trim_of(cell);
        let at = |picture: &RgbImage, dx: f64, dy: f64| {
            let px = |mm: f64| (mm * PX_PER_MM) as u32;
            *picture.get_pixel(px(trim.min.x + dx), px(trim.min.y + dy))
        };
        assert_eq!(at(&front, 6.5, 10.0), at(&back, 8.0, 60.0), "card {cell}");
    }
}

#[test]
fn backs_stand_upright_sideways_and_on_their_heads_endways() {
    let grid = Grid::fitting(A4, CARD, BLEED);
    // The moon of the common back, about the upper right corner of the card.
    let (mx, my) = (44.5, 21.5);
    for (flip, x, y) in [
        (Flip::Sideways, mx, my),
        (Flip::Endways, CARD.w - mx, CARD.h - my),
    ] {
        let back = render(&sheets::deck_sheets(A4, flip)[1]);
        let trim = grid.trim_of(4);
        let moon = |x: f64, y: f64| {
            let px = |mm: f64| (mm * PX_PER_MM) as u32;
            luma(back.get_pixel(px(trim.min.x + x), px(trim.min.y + y))) > 220.0
        };
        assert!(moon(x, y), "{flip}: no moon where it should be");
        assert!(
            !moon(CARD.w - x, CARD.h - y),
            "{flip}: a moon where none should be"
        );
    }
}

#[test]
fn the_crooked_file_is_off_by_what_it_says() {
    assert!((CROOKED.length() - 1.3).abs() < 1e-12);
    let pages = sheets::crooked_deck_sheets(A4, Flip::Sideways);
    // To the right on the back is to the left from the front.
    let (x, y) = (-CROOKED.x, CROOKED.y);
    let expected = [4.0 + x, 4.0 + y, 4.0 - x, 4.0 - y];
    check_behind(&pages, A4, Flip::Sideways, expected, 9);
}

#[test]
fn the_last_sheets_are_filled_in_part_and_their_backs_from_the_other_side() {
    let pages = sheets::deck_sheets(A4, Flip::Sideways);
    assert_eq!(
        pages.len(),
        14,
        "six sheets of the common back, one of the ferries"
    );
    let items = |page: usize| pages[page].items.len();
    assert_eq!((items(9), items(11), items(13)), (9, 5, 4));
    let (front, back) = (render(&pages[12]), render(&pages[13]));
    let third = front.width() / 3;
    // The second row has one card: at the left of the front, at the right of the back.
    let y = (150.0 * PX_PER_MM) as u32;
    let blank = |picture: &RgbImage, from: u32, to: u32| {
        (from..to).all(|x| luma(picture.get_pixel(x, y)) > 254.0)
    };
    assert!(!blank(&front, 100, third) && blank(&front, third + 60, front.width() - 60));
    assert!(!blank(&back, 2 * third, back.width() - 100) && blank(&back, 60, 2 * third - 60));
}

#[test]
fn there_are_54_cards_with_names_of_their_own() {
    let deck = tympan_game::deck();
    assert_eq!(deck.len(), 54);
    assert_eq!(
        deck.iter().map(|c| &c.name).collect::<HashSet<_>>().len(),
        54
    );
    let common = deck.iter().filter(|card| card.back == deck[0].back).count();
    assert_eq!(common, 50);
    let ferries = &deck[50..];
    for (i, one) in ferries.iter().enumerate() {
        assert!(
            ferries[i + 1..].iter().all(|other| other.back != one.back),
            "{}",
            one.name
        );
    }
}

#[test]
fn every_card_has_a_front_of_its_own() {
    let deck = tympan_game::deck();
    for (i, one) in deck.iter().enumerate() {
        assert!(
            deck[i + 1..].iter().all(|other| other.front != one.front),
            "{}",
            one.name
        );
    }
}

#[test]
fn pictures_go_on_to_the_end_of_the_bleed() {
    let pieces: Vec<Piece> = [tympan_game::deck(), tympan_game::tiles()]
        .concat()
        .into_iter()
        .step_by(7)
        .collect();
    for piece in pieces {
        let (w, h) = (
            piece.trim.w + 2.0 * piece.bleed,
            piece.trim.h + 2.0 * piece.bleed,
        );
        for side in [&piece.front, &piece.back] {
            assert!(side.size.is_close(Size::new(w, h), 1e-9), "{}", piece.name);
            let picture = render(side);
            let (right, bottom) = ((w * PX_PER_MM) as u32 - 2, (h * PX_PER_MM) as u32 - 2);
            for x in (0..right).step_by(5) {
                for y in [1, bottom] {
                    assert_ne!(
                        picture.get_pixel(x, y),
                        &Rgb([255; 3]),
                        "{} {x} {y}",
                        piece.name
                    );
                }
            }
            for y in (0..bottom).step_by(5) {
                for x in [1, right] {
                    assert_ne!(
                        picture.get_pixel(x, y),
                        &Rgb([255; 3]),
                        "{} {x} {y}",
                        piece.name
                    );
                }
            }
        }
    }
}

#[test]
fn there_are_24_tiles_and_they_fit_on_one_sheet_of_a4() {
    let tiles = tympan_game::tiles();
    assert_eq!(tiles.len(), 24);
    assert_eq!(
        tiles.iter().map(|t| &t.name).collect::<HashSet<_>>().len(),
        24
    );
    assert_eq!(sheets::tile_sheets(A4, Flip::Sideways).len(), 2);
}

/// At low water a channel can only be where there was one at high water, seen through the tile.
#[test]
fn low_water_runs_behind_high_water() {
    let far = tympan_game::TILE.w;
    let edges = [
        (far / 2.0, 0.5),
        (far - 0.5, far / 2.0),
        (far / 2.0, far - 0.5),
        (0.5, far / 2.0),
    ];
    let mut counts = (0, 0);
    for tile in tympan_game::tiles() {
        let (front, back) = (render(&tile.front), render(&tile.back));
        // Water is the only blue thing at an edge.
        let wet = |picture: &RgbImage, x: f64, y: f64| {
            let px = |mm: f64| ((mm + tile.bleed) * PX_PER_MM) as u32;
            let [r, _, b] = picture.get_pixel(px(x), px(y)).0;
            b > r
        };
        for (x, y) in edges {
            let (high, low) = (wet(&front, x, y), wet(&back, far - x, y));
            assert!(high || !low, "{} at {x}, {y}", tile.name);
            counts = (counts.0 + usize::from(high), counts.1 + usize::from(low));
        }
    }
    // 16 tiles with two ways out, 6 with three, 2 with four.
    assert_eq!(counts, (58, 36));
}

#[test]
fn the_rules_have_eight_pages_whose_text_keeps_the_margins() {
    let pages = tympan_game::rules();
    assert_eq!(pages.len(), 8);
    for (page, number) in pages[1..7].iter().zip(2..) {
        let picture = render(page);
        let margin = (12.0 * PX_PER_MM) as u32;
        for (x, y, pixel) in picture.enumerate_pixels() {
            let inside = x > margin && x + margin < picture.width();
            assert!(
                inside || luma(pixel) > 254.0,
                "page {number} has ink at {x}, {y}"
            );
        }
    }
}

#[test]
fn the_board_is_larger_than_a_sheet_and_the_box_net_is_not() {
    let board = tympan_game::board().size;
    assert!(board.w > A4.h && board.h > A4.w);
    let net = tympan_game::tuck_box().size;
    assert!(net.w <= A4.w && net.h <= A4.h, "{net:?}");
    assert!(net.w <= LETTER.w && net.h <= LETTER.h, "{net:?}");
}
