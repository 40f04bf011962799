//! Usual card sizes. Common practice: no standard fixes them, and makers differ by up to a
//! millimetre.

use crate::frame::Size;

/// A card size that people ask for by name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CardSize {
    /// What it is called.
    pub name: &'static str,
    /// The trimmed size, upright, mm.
    pub trim: Size,
    /// The usual corner radius, mm.
    pub corner_radius: f64,
}

const fn card(name: &'static str, w: f64, h: f64) -> CardSize {
    // One eighth of an inch is the usual radius (from memory, common practice).
    CardSize {
        name,
        trim: Size::new(w, h),
        corner_radius: 3.175,
    }
}

/// Usual sizes (common practice: general reference pages and makers' lists, which disagree by 0.5
/// to 1 mm among themselves).
pub const USUAL_CARDS: &[CardSize] = &[
    card("poker", 63.5, 88.9),
    card("poker (63 × 88)", 63.0, 88.0),
    card("bridge", 57.15, 88.9),
    card("bridge (56 × 88)", 56.0, 88.0),
    card("tarot", 70.0, 120.0),
    card("mini", 44.0, 63.0),
    card("small", 37.0, 57.0),
    card("large", 89.0, 146.0),
    card("German", 59.0, 91.0),
    card("Russian", 57.0, 90.0),
    card("Spanish", 62.0, 95.0),
    card("square 70", 70.0, 70.0),
];

/// The usual card whose proportions and size come nearest, and the scale that this implies for a
/// card measured as `trim` (either way up). `None` where no usual card is within 6 % in size and
/// 1.5 % in proportion.
pub fn nearest_card(trim: Size) -> Option<(CardSize, f64)> {
    let upright = trim.portrait();
    USUAL_CARDS
        .iter()
        .map(|card| {
            let usual = card.trim.portrait();
            let (x, y) = (upright.w / usual.w, upright.h / usual.h);
            (card, (x * y).sqrt(), (x / y - 1.0).abs())
        })
        .filter(|(_, scale, skew)| (scale - 1.0).abs() <= 0.06 && *skew <= 0.015)
        .min_by(|a, b| (a.2 + (a.1 - 1.0).abs() / 8.0).total_cmp(&(b.2 + (b.1 - 1.0).abs() / 8.0)))
        .map(|(card, scale, _)| (*card, scale))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_card_shrunk_by_fit_to_page_is_recognised() {
        let (card, scale) = nearest_card(Size::new(62.1, 86.9)).expect("a poker card");
        assert_eq!(card.name, "poker");
        assert!((scale - 0.978).abs() < 0.001, "{scale}");
    }

    #[test]
    fn a_card_on_its_side_is_the_same_card() {
        let (card, scale) = nearest_card(Size::new(88.9, 63.5)).expect("a poker card");
        assert_eq!((card.name, scale), ("poker", 1.0));
    }

    #[test]
    fn a_page_is_no_card() {
        assert_eq!(nearest_card(Size::new(210.0, 297.0)), None);
    }
}
