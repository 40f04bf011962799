//! How a page lies on the sheet, and how the sheet goes through the printer.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::flip::Flip;
use crate::frame::{Back, Frame, Front, Page, Size};
use crate::map::Map;

/// The edge of the sheet that goes into the printer first, named as seen on the front of the
/// test sheet held upright.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LeadingEdge {
    /// The top edge of the front.
    Head,
    /// The bottom edge of the front.
    Foot,
    /// The left edge of the front.
    Left,
    /// The right edge of the front.
    Right,
}

/// The axis of the front frame that the sheet travels along.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FeedAxis {
    /// The sheet travels along its width.
    X,
    /// The sheet travels along its height.
    Y,
}

impl LeadingEdge {
    /// The axis of the front frame that the sheet travels along.
    pub fn axis(self) -> FeedAxis {
        match self {
            Self::Head | Self::Foot => FeedAxis::Y,
            Self::Left | Self::Right => FeedAxis::X,
        }
    }

    /// The same edge of the sheet as it is called when one looks at the back held upright.
    pub fn on_back(self, flip: Flip) -> Self {
        match (flip, self) {
            (Flip::Sideways, Self::Left) => Self::Right,
            (Flip::Sideways, Self::Right) => Self::Left,
            (Flip::Endways, Self::Head) => Self::Foot,
            (Flip::Endways, Self::Foot) => Self::Head,
            (_, edge) => edge,
        }
    }
}

impl fmt::Display for LeadingEdge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Head => "head",
            Self::Foot => "foot",
            Self::Left => "left",
            Self::Right => "right",
        })
    }
}

impl FromStr for LeadingEdge {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text.trim().to_ascii_lowercase().as_str() {
            "head" | "top" => Ok(Self::Head),
            "foot" | "bottom" => Ok(Self::Foot),
            "left" => Ok(Self::Left),
            "right" => Ok(Self::Right),
            other => Err(format!(
                "\"{other}\" is not an edge; write head, foot, left or right, as seen on the \
                 front held upright"
            )),
        }
    }
}

/// How a page is turned, as seen, to lie on its sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum QuarterTurn {
    /// As it is.
    #[default]
    Upright,
    /// A quarter clockwise: the page's head lies at the sheet's right edge.
    Clockwise,
    /// Upside down.
    Half,
    /// A quarter anticlockwise: the page's head lies at the sheet's left edge.
    Anticlockwise,
}

impl QuarterTurn {
    /// Whether width and height change places.
    pub fn is_sideways(self) -> bool {
        matches!(self, Self::Clockwise | Self::Anticlockwise)
    }

    /// The size of the sheet that a page of this size fills when turned so.
    pub fn sheet_size(self, page: Size) -> Size {
        if self.is_sideways() {
            page.turned()
        } else {
            page
        }
    }

    /// The map from the page as seen to the side of the sheet that it is laid on.
    pub fn map<S: Frame>(self, page: Size) -> Map<Page, S> {
        match self {
            Self::Upright => Map::new(1.0, 0.0, 0.0, 1.0, 0.0, 0.0),
            Self::Clockwise => Map::new(0.0, -1.0, 1.0, 0.0, page.h, 0.0),
            Self::Half => Map::new(-1.0, 0.0, 0.0, -1.0, page.w, page.h),
            Self::Anticlockwise => Map::new(0.0, 1.0, -1.0, 0.0, 0.0, page.w),
        }
    }

    /// How the back page must be turned so that it lies behind its front page on the sheet, when
    /// the front page is turned by `self`: the file means its backs for `page_flip`, and the
    /// sheet is flipped by `sheet_flip`. `front` is the front page's size as seen.
    pub fn for_back(self, page_flip: Flip, sheet_flip: Flip, front: Size) -> Self {
        let to_sheet: Map<Page, Front> = self.map(front);
        let sheet = self.sheet_size(front);
        let flip = page_flip.map(front);
        let mirror: Map<Page, Page> =
            Map::new(flip.xx, flip.xy, flip.yx, flip.yy, flip.dx, flip.dy);
        let wanted: Map<Page, Back> = mirror.then(&to_sheet).then(&sheet_flip.map(sheet));
        [
            Self::Upright,
            Self::Clockwise,
            Self::Half,
            Self::Anticlockwise,
        ]
        .into_iter()
        .find(|turn| turn.map::<Back>(front).is_close(&wanted, 1e-6))
        .unwrap_or(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Point;

    const PAGE: Size = Size::new(297.0, 210.0);

    fn goes_to(turn: QuarterTurn, x: f64, y: f64) -> (f64, f64) {
        let p: Point<Front> = turn.map(PAGE).apply(Point::new(x, y));
        (p.x, p.y)
    }

    #[test]
    fn a_clockwise_turn_puts_the_head_at_the_right() {
        assert_eq!(goes_to(QuarterTurn::Clockwise, 0.0, 0.0), (210.0, 0.0));
        assert_eq!(goes_to(QuarterTurn::Clockwise, 297.0, 0.0), (210.0, 297.0));
    }

    #[test]
    fn an_anticlockwise_turn_puts_the_head_at_the_left() {
        assert_eq!(goes_to(QuarterTurn::Anticlockwise, 0.0, 0.0), (0.0, 297.0));
        assert_eq!(goes_to(QuarterTurn::Anticlockwise, 297.0, 0.0), (0.0, 0.0));
    }

    /// Whatever the turn and the flips, a point of the front page and its partner on the back
    /// page come to lie behind each other on the sheet.
    #[test]
    fn turned_backs_lie_behind_their_turned_fronts() {
        use QuarterTurn::*;
        for turn in [Upright, Clockwise, Half, Anticlockwise] {
            for page_flip in [Flip::Sideways, Flip::Endways] {
                for sheet_flip in [Flip::Sideways, Flip::Endways] {
                    let back_turn = turn.for_back(page_flip, sheet_flip, PAGE);
                    let front: Point<Front> = turn.map(PAGE).apply(Point::new(30.0, 50.0));
                    let partner = match page_flip {
                        Flip::Sideways => Point::new(297.0 - 30.0, 50.0),
                        Flip::Endways => Point::new(30.0, 210.0 - 50.0),
                    };
                    let back: Point<Back> = back_turn.map(PAGE).apply(partner);
                    let sheet = turn.sheet_size(PAGE);
                    let from_front = sheet_flip.to_front(back, sheet);
                    assert!(
                        (from_front - front).length() < 1e-9,
                        "{turn:?} {page_flip} {sheet_flip}"
                    );
                }
            }
        }
    }

    #[test]
    fn the_leading_edge_changes_its_name_with_the_flip() {
        assert_eq!(LeadingEdge::Head.on_back(Flip::Sideways), LeadingEdge::Head);
        assert_eq!(LeadingEdge::Head.on_back(Flip::Endways), LeadingEdge::Foot);
        assert_eq!(
            LeadingEdge::Left.on_back(Flip::Sideways),
            LeadingEdge::Right
        );
        assert_eq!(LeadingEdge::Left.on_back(Flip::Endways), LeadingEdge::Left);
    }
}
