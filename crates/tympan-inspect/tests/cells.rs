//! Cells on pages that are written here by hand, one thing to tell on each.

use image::GrayImage;
use tympan_inspect::PageCells;
use tympan_inspect::cells::{find, settle};
use tympan_pdf::contents::Limits;
use tympan_pdf::raster::{Pages, View};
use tympan_sheet::Size;

const MM: f64 = 72.0 / 25.4;

/// A page of w × h mm with y down: numbers in the content are mm.
fn pdf(w: f64, h: f64, entries: &str, content: &str) -> Vec<u8> {
    let (pw, ph) = (w * MM, h * MM);
    let content = format!("{MM} 0 0 {} 0 {ph} cm\n{content}", -MM);
    let objects = [
        "<</Type/Catalog/Pages 2 0 R>>".to_owned(),
        "<</Type/Pages/Kids[3 0 R]/Count 1>>".to_owned(),
        format!(
            "<</Type/Page/Parent 2 0 R/MediaBox[0 0 {pw} {ph}]/Contents 4 0 R/Resources<<>> \
             {entries}>>"
        ),
        format!(
            "<</Length {}>>\nstream\n{content}\nendstream",
            content.len()
        ),
    ];
    let mut file = b"%PDF-1.7\n".to_vec();
    let mut xref = String::from("xref\n0 5\n0000000000 65535 f \n");
    for (i, object) in objects.iter().enumerate() {
        xref.push_str(&format!("{:010} 00000 n \n", file.len()));
        file.extend(format!("{} 0 obj\n{object}\nendobj\n", i + 1).bytes());
    }
    let start = file.len();
    file.extend(xref.bytes());
    file.extend(format!("trailer<</Size 5/Root 1 0 R>>\nstartxref\n{start}\n%%EOF\n").bytes());
    file
}

fn cells_of(file: Vec<u8>) -> PageCells {
    let pages = Pages::open(file, None).expect("a PDF");
    let contents = pages.contents(0, &Limits::default()).expect("contents");
    let view = View::dpi(100.0);
    let picture: GrayImage = pages.grey(0, &view).expect("a picture");
    find(&contents, &picture, view.px_per_mm)
}

fn on_a4(content: &str) -> PageCells {
    cells_of(pdf(210.0, 297.0, "", content))
}

/// Filled boxes at a grid's places, each with something in it.
fn cards(
    columns: usize,
    rows: usize,
    size: (f64, f64),
    at: (f64, f64),
    pitch: (f64, f64),
) -> String {
    let mut content = String::new();
    for i in 0..columns * rows {
        let x = at.0 + (i % columns) as f64 * pitch.0;
        let y = at.1 + (i / columns) as f64 * pitch.1;
        content += &format!(
            "0.{} 0.5 0.8 rg {x} {y} {} {} re f 1 g {} {} 12 9 re f\n",
            1 + i % 8,
            size.0,
            size.1,
            x + 8.0,
            y + 8.0 + i as f64
        );
    }
    content
}

fn assert_size(said: Size, w: f64, h: f64) {
    assert!(
        said.is_close(Size::new(w, h), 0.02),
        "{said:?}, not {w} × {h}"
    );
}

#[test]
fn cards_side_by_side_are_told_by_where_they_are_painted() {
    let page = on_a4(&cards(3, 3, (63.0, 88.0), (10.5, 16.5), (63.0, 88.0)));
    let [grid] = page.grids.as_slice() else {
        panic!("{:?}", page.grids)
    };
    assert_eq!((grid.columns, grid.rows, grid.count()), (3, 3, 9));
    assert_size(grid.trim, 63.0, 88.0);
    assert!((grid.origin.x - 10.5).abs() < 0.01 && (grid.origin.y - 16.5).abs() < 0.01);
    assert!(grid.confidence > 0.9, "{grid:?}");
}

#[test]
fn colour_that_ends_at_the_cut_is_no_bleed_and_paper_there_tells_nothing() {
    let dark = on_a4(&cards(2, 2, (63.0, 88.0), (20.0, 30.0), (66.0, 91.0)));
    assert_eq!(dark.grids[0].bleed.expect("told").least, 0.0);
    let adjoining = on_a4(&cards(3, 3, (63.0, 88.0), (10.5, 16.5), (63.0, 88.0)));
    assert_eq!(adjoining.grids[0].bleed.expect("told").usual, 0.0);
    let white = "1 g 20 30 63 88 re f 86 30 63 88 re f 0 g 40 50 9 9 re f 100 50 9 9 re f\n";
    assert_eq!(on_a4(white).grids[0].bleed, None);
}

#[test]
fn trim_marks_tell_the_cut_from_the_bleed() {
    let mut content = cards(2, 2, (66.0, 91.0), (20.0, 30.0), (66.0, 91.0));
    content += "0 G 0.1 w\n";
    // The cards are 60 × 85 mm, 3 mm within what is painted.
    for x in [23.0, 83.0, 89.0, 149.0] {
        content += &format!("{x} 22 m {x} 28 l S {x} 214 m {x} 220 l S\n");
    }
    for y in [33.0, 118.0, 124.0, 209.0] {
        content += &format!("12 {y} m 18 {y} l S 154 {y} m 160 {y} l S\n");
    }
    let page = on_a4(&content);
    let grid = &page.grids[0];
    assert_size(grid.trim, 60.0, 85.0);
    assert!((grid.pitch.x - 66.0).abs() < 0.01, "{grid:?}");
    assert!((grid.bleed.expect("bleed").usual - 3.0).abs() < 0.02);
}

#[test]
fn without_marks_a_usual_size_within_tells_the_bleed_less_surely() {
    let page = on_a4(&cards(2, 2, (69.5, 94.9), (20.0, 30.0), (72.0, 97.0)));
    let grid = &page.grids[0];
    assert_size(grid.trim, 63.5, 88.9);
    assert!((grid.bleed.expect("bleed").usual - 3.0).abs() < 0.02);
    assert!(grid.confidence < 0.8, "{grid:?}");
}

#[test]
fn frames_within_the_art_are_not_the_cards() {
    let mut content = cards(3, 2, (63.0, 88.0), (10.0, 20.0), (64.0, 90.0));
    content += "1 1 0 RG 0.4 w\n";
    for i in 0..6 {
        let (x, y) = (10.0 + (i % 3) as f64 * 64.0, 20.0 + (i / 3) as f64 * 90.0);
        content += &format!(
            "{} {} 55 40 re S {} {} 55 30 re S\n",
            x + 4.0,
            y + 4.0,
            x + 4.0,
            y + 50.0
        );
    }
    let page = on_a4(&content);
    assert_eq!(page.grids.len(), 1, "{:?}", page.grids);
    assert_size(page.grids[0].trim, 63.0, 88.0);
}

#[test]
fn a_tilted_page_is_told_with_its_tilt() {
    // 0.4° clockwise as seen: x' = x cos − y sin, y' = x sin + y cos with y down.
    let (sin, cos) = 0.4_f64.to_radians().sin_cos();
    let content = format!(
        "{cos} {sin} {} {cos} 0 0 cm\n{}",
        -sin,
        cards(3, 3, (60.0, 85.0), (14.0, 20.0), (62.0, 87.0))
    );
    let page = on_a4(&content);
    let grid = &page.grids[0];
    assert!((grid.rotation.to_degrees() - 0.4).abs() < 0.002, "{grid:?}");
    assert_size(grid.trim, 60.0, 85.0);
    let (x, y) = (14.0 * cos - 20.0 * sin, 14.0 * sin + 20.0 * cos);
    assert!(
        (grid.origin.x - x).abs() < 0.03 && (grid.origin.y - y).abs() < 0.03,
        "{grid:?}"
    );
}

#[test]
fn two_sizes_on_a_page_are_two_grids() {
    let mut content = cards(3, 1, (63.0, 88.0), (10.0, 10.0), (63.0, 88.0));
    content += &cards(4, 2, (44.0, 63.0), (12.0, 120.0), (46.0, 65.0));
    let page = on_a4(&content);
    let mut sizes: Vec<(usize, usize)> = page.grids.iter().map(|g| (g.columns, g.rows)).collect();
    sizes.sort_unstable();
    assert_eq!(sizes, [(3, 1), (4, 2)]);
}

#[test]
fn a_sheet_folded_in_the_middle_is_told_by_its_broken_line() {
    let mut content = cards(3, 1, (60.0, 85.0), (14.0, 58.5), (61.0, 85.0));
    content += &cards(3, 1, (60.0, 85.0), (14.0, 153.5), (61.0, 85.0));
    content += "0 G 0.2 w [3 2] 0 d 0 148.5 m 210 148.5 l S\n";
    let page = on_a4(&content);
    let fold = page.fold.expect("a fold");
    assert!((fold.from.y - 148.5).abs() < 0.02 && (fold.to.y - 148.5).abs() < 0.02);
    assert_eq!(page.grids.len(), 2);
}

#[test]
fn a_page_of_a_card_s_size_is_a_card_and_its_trim_box_is_its_cut() {
    let content = "0.2 0.4 0.3 rg 0 0 69.5 94.9 re f\n";
    let boxed = format!(
        "/TrimBox[{} {} {} {}]",
        3.0 * MM,
        3.0 * MM,
        66.5 * MM,
        91.9 * MM
    );
    let page = cells_of(pdf(69.5, 94.9, &boxed, content));
    let grid = &page.grids[0];
    assert_size(grid.trim, 63.5, 88.9);
    assert!((grid.origin.x - 3.0).abs() < 0.01);
    assert!((grid.bleed.expect("bleed").least - 3.0).abs() < 0.01);
}

#[test]
fn no_grid_is_invented_in_tables_forms_and_single_pictures() {
    let mut table = String::from("0 G 0.2 w\n");
    for i in 0..30 {
        let y = 40.0 + 7.0 * i as f64;
        table += &format!("20 {y} m 190 {y} l S\n");
    }
    for x in [20.0, 80.0, 120.0, 190.0] {
        table += &format!("{x} 40 m {x} 243 l S\n");
    }
    assert_eq!(on_a4(&table).grids, []);
    let form = "0 G 0.3 w 20 40 80 30 re S 105 40 80 30 re S 20 80 80 30 re S 105 80 80 30 re S\n";
    assert_eq!(on_a4(form).grids, []);
    // One field of a ruled table is tinted; lines to cut along go on beyond the others.
    let field = |over: i32| {
        let mut content = String::from("0.8 g 60 80 40 50 re f 0 G 0.3 w\n");
        for i in 0..4 {
            let (x, y) = (20 + 40 * i, 30 + 50 * i);
            content += &format!("{x} {} m {x} {} l S\n", 30 - over, 180 + over);
            content += &format!("{} {y} m {} {y} l S\n", 20 - over, 140 + over);
        }
        on_a4(&content).grids
    };
    assert_eq!(field(0), []);
    assert_eq!(field(5).len(), 1);
    assert_eq!(on_a4("0.3 0.5 0.2 rg 40 60 100 70 re f\n").grids, []);
    assert_eq!(on_a4("").grids, []);
}

/// Boxes of 82 × 30 mm in two columns, of which the first is two smaller ones.
#[test]
fn a_form_with_boxes_of_several_sizes_holds_no_cards() {
    let mut form = String::from("0 G 0.3 w 20 74 39 30 re S 61 74 39 30 re S 105 74 82 30 re S\n");
    form += "20 112 82 30 re S 105 112 82 30 re S 20 50 167 12 re S\n";
    let page = on_a4(&form);
    assert_eq!(page.grids, []);
    // Nor does another form bear it out.
    let mut pages = [page.clone(), PageCells { page: 1, ..page }];
    settle(&mut pages);
    assert!(pages.iter().all(|page| page.grids.is_empty()), "{pages:?}");
}

#[test]
fn boxes_of_no_usual_size_are_cards_only_with_more_than_a_word_in_them() {
    let with = |inside: &str| {
        let mut content = String::from("0 G 0.3 w\n");
        for (x, y) in [(20, 40), (104, 40), (20, 114), (104, 114)] {
            content += &format!("{x} {y} 80 70 re S q 1 0 0 1 {x} {y} cm {inside} Q\n");
        }
        on_a4(&content).grids
    };
    assert_eq!(with("4 4 16 3 re f"), []);
    assert_eq!(with("6 6 60 40 re f").len(), 1);
}

#[test]
fn white_areas_with_lines_around_them_are_the_backs_of_a_sheet_that_is_not_full() {
    let mut content = String::from("1 g 75 40 63 88 re f 142 40 63 88 re f 0 G 0.3 w\n");
    for (column, row) in [(0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (2, 1)] {
        content += &format!("{} {} 63 88 re S\n", 8 + 67 * column, 40 + 92 * row);
    }
    let page = on_a4(&content);
    let grid = &page.grids[0];
    assert_eq!((grid.columns, grid.rows), (3, 2));
    assert_eq!(grid.filled, [false, true, true, false, false, false]);
}

#[test]
fn empty_boxes_of_no_usual_size_are_cards_where_another_page_has_such_cards() {
    let cards = on_a4(&cards(3, 3, (50.0, 50.0), (20.0, 40.0), (53.0, 53.0)));
    let mut content = String::from("0 G 0.3 w\n");
    for i in 0..9 {
        content += &format!("{} {} 50 50 re S\n", 34 + 53 * (i % 3), 40 + 53 * (i / 3));
    }
    let empty = on_a4(&content);
    assert_eq!(empty.grids, []);
    let mut pages = [cards, PageCells { page: 1, ..empty }];
    settle(&mut pages);
    let [grid] = pages[1].grids.as_slice() else {
        panic!("{:?}", pages[1])
    };
    assert_eq!((grid.columns, grid.rows), (3, 3));
    assert!((grid.origin.x - 34.0).abs() < 0.05, "{grid:?}");
}

#[test]
fn a_single_card_is_one_where_another_page_has_a_cell_there() {
    let full = on_a4(&cards(2, 2, (63.0, 88.0), (30.0, 40.0), (65.0, 90.0)));
    // The second cell of the first row, seen on the back of a sheet flipped sideways.
    let one = on_a4(&cards(
        1,
        1,
        (63.0, 88.0),
        (210.0 - 95.0 - 63.0, 40.0),
        (63.0, 88.0),
    ));
    let elsewhere = on_a4(&cards(1, 1, (63.0, 88.0), (75.0, 150.0), (63.0, 88.0)));
    assert!(one.grids.is_empty() && elsewhere.grids.is_empty());
    let number = |page: usize, cells: PageCells| PageCells { page, ..cells };
    let mut pages = [full, number(1, one), number(2, elsewhere)];
    settle(&mut pages);
    let grid = &pages[1].grids[0];
    assert_eq!((grid.columns, grid.rows), (2, 2));
    assert_eq!(grid.filled, [true, false, false, false]);
    assert_eq!(pages[2].grids, []);
}

/// Some writers put a box in whole points around each clip; it must not be taken for a card.
#[test]
fn boxes_in_whole_points_around_clips_are_not_the_cards() {
    let mut content = String::new();
    for i in 0..4 {
        let (x, y) = (
            40.0 + f64::from(i % 2) * 55.0,
            60.0 + f64::from(i / 2) * 57.0,
        );
        content += &format!(
            "q {} {} 50.11 50.1 re W n {x} {y} 50 50 re W n 0.2 0.3 0.4 rg {x} {y} 50 50 re f Q\n",
            x - 0.1,
            y - 0.05
        );
    }
    let cells = on_a4(&content);
    let grid = &cells.grids[0];
    assert_eq!((grid.columns, grid.rows), (2, 2));
    assert!(grid.trim.is_close(Size::new(50.0, 50.0), 0.002), "{grid:?}");
}
