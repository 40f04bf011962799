use super::*;
use crate::geometry::Geometry;
use tympan_sheet::Affine;

const A4: Size = Size::new(210.0, 297.0);

/// What a person reads at a station of a sheet whose back lies off by `seen` (as seen on the
/// back): the hole is where the front's cross is; the word is the one written on that side of the
/// printed grid.
fn words_read(seen: Vector<Back>, flip: Flip, station: Station) -> Vec<(&'static str, Length)> {
    let hole = flip.to_back(station.at, A4);
    let printed = Affine::shift(seen);
    let middle = printed.apply(flip.to_back(station.at, A4));
    let off = hole - middle;
    let mut said = Vec::new();
    for zone in ZONES {
        let (tx, ty) = zone.towards;
        let along = off.x * tx + off.y * ty;
        if along > 1e-9 {
            said.push((zone.word, Length::mm(along)));
        }
    }
    said
}

fn read_back(seen: Vector<Back>, flip: Flip) -> (Vec<&'static str>, Vector<Front>) {
    let stations = Geometry::new(A4, flip).expect("A4").stations();
    let said = words_read(seen, flip, stations[1]);
    let words = said.iter().map(|(word, _)| *word).collect();
    let seen = SeenOnBack::from_words(said).expect("words of the grid");
    let read = read(stations[1], seen, flip, PinNoise::default()).expect("on the grid");
    (words, read.error)
}

fn check(word: &str, seen: (f64, f64), flip: Flip, expected: (f64, f64)) {
    let (words, error) = read_back(Vector::new(seen.0, seen.1), flip);
    assert_eq!(words, [word]);
    assert!(
        (error - Vector::new(expected.0, expected.1)).length() < 1e-12,
        "{error:?}"
    );
}

#[test]
fn sideways_low_is_down_from_the_front() {
    check("low", (0.0, 2.0), Flip::Sideways, (0.0, 2.0));
}

#[test]
fn sideways_high_is_up_from_the_front() {
    check("high", (0.0, -2.0), Flip::Sideways, (0.0, -2.0));
}

#[test]
fn sideways_left_is_right_from_the_front() {
    check("left", (-2.0, 0.0), Flip::Sideways, (2.0, 0.0));
}

#[test]
fn sideways_right_is_left_from_the_front() {
    check("right", (2.0, 0.0), Flip::Sideways, (-2.0, 0.0));
}

#[test]
fn endways_low_is_up_from_the_front() {
    check("low", (0.0, 2.0), Flip::Endways, (0.0, -2.0));
}

#[test]
fn endways_high_is_down_from_the_front() {
    check("high", (0.0, -2.0), Flip::Endways, (0.0, 2.0));
}

#[test]
fn endways_left_is_left_from_the_front() {
    check("left", (-2.0, 0.0), Flip::Endways, (-2.0, 0.0));
}

#[test]
fn endways_right_is_right_from_the_front() {
    check("right", (2.0, 0.0), Flip::Endways, (2.0, 0.0));
}

#[test]
fn backs_low_and_left_put_the_hole_above_and_right_of_the_middle() {
    let (words, error) = read_back(Vector::new(-0.4, 2.1), Flip::Sideways);
    assert_eq!(words, ["low", "left"]);
    assert!((error - Vector::new(0.4, 2.1)).length() < 1e-12);
}

#[test]
fn words_are_read_in_any_order_and_unit() {
    let expected = SeenOnBack {
        low_mm: 2.1,
        right_mm: -0.4,
    };
    for text in [
        "low 2.1 left 0.4",
        "0.4mm left, 2.1mm low",
        "LEFT 0.4 mm; 2.1 mm Low",
    ] {
        assert_eq!(text.parse(), Ok(expected), "{text}");
    }
    assert_eq!(
        "high 0.1in".parse(),
        Ok(SeenOnBack {
            low_mm: -2.54,
            right_mm: 0.0
        })
    );
    assert_eq!("0".parse(), Ok(SeenOnBack::default()));
}

#[test]
fn words_that_contradict_are_refused() {
    assert!(matches!(
        "low 1 high 1".parse::<SeenOnBack>(),
        Err(WordsError::Twice { .. })
    ));
    assert!(matches!(
        "low -1".parse::<SeenOnBack>(),
        Err(WordsError::Negative { .. })
    ));
    assert!(matches!(
        "north 1".parse::<SeenOnBack>(),
        Err(WordsError::Word(_))
    ));
    for text in ["", "low", "2.1", "low left", "1 2"] {
        assert!(
            matches!(text.parse::<SeenOnBack>(), Err(WordsError::Text(_))),
            "{text}"
        );
    }
}

#[test]
fn a_hole_off_the_grid_is_refused() {
    let station = Geometry::new(A4, Flip::Sideways).expect("A4").stations()[0];
    let seen = "low 7".parse().expect("words");
    let refused = read(station, seen, Flip::Sideways, PinNoise::default());
    assert_eq!(
        refused,
        Err(OffGrid {
            station: 'A',
            mm: 7.0
        })
    );
}

#[test]
fn the_uncertainty_is_more_than_rounding() {
    let sd = PinNoise::default().variance().sqrt();
    assert!((sd - 0.1528).abs() < 1e-4, "{sd}");
    // Half millimetres at both ends: 0.204 mm (references, GUM).
    let ruler = read_ruler(SeenOnBack::default(), Flip::Sideways, A4, Length::mm(0.5));
    assert!((ruler.variance.sqrt() - 0.2041).abs() < 1e-4);
}
