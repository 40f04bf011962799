//! A test sheet: its geometry, and what is written on it.

use tympan_sheet::drawing::Drawing;
use tympan_sheet::{Flip, LeadingEdge, Side, Size};

use crate::code::{End, NotASetupCode, SetupCode, SheetCode};
use crate::draw;
use crate::geometry::{Geometry, Station};

/// What a test sheet is made for.
#[derive(Clone, Debug, PartialEq)]
pub struct TestSheetSpec {
    /// The paper, mm, either way up: a test sheet is always upright.
    pub paper: Size,
    /// The set-up's flip.
    pub flip: Flip,
    /// The edge that goes into the printer first, named as seen with the print upright. A printer
    /// lays every page on its sheet in the same way, so the name holds for both passes.
    pub leading_edge: LeadingEdge,
    /// The side that is printed first.
    pub first_side: Side,
    /// The set-up's short code, 1 to 8 characters of 0-9 and A-Z.
    pub setup_code: String,
    /// The number of this sheet, 1 to 9999.
    pub sheet: u32,
    /// The set-up's name, for people.
    pub setup_name: String,
    /// The paper's name, for people.
    pub paper_name: String,
    /// The stock, for people.
    pub stock: String,
}

/// Why a test sheet cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SheetError {
    /// The paper is too small or too large.
    #[error("a test sheet does not fit paper of {:.1} × {:.1} mm", .0.w, .0.h)]
    Paper(Size),
    /// The set-up's code cannot be carried.
    #[error(transparent)]
    SetupCode(#[from] NotASetupCode),
    /// The sheet number cannot be carried.
    #[error("{0} is no sheet number")]
    SheetNumber(u32),
}

impl SheetError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Paper(_) => "use paper from A5 (148 × 210 mm) to A3 (297 × 420 mm)",
            Self::SetupCode(_) => "use 1 to 8 letters and digits, for example K7Q2",
            Self::SheetNumber(_) => "number sheets from 1 to 9999",
        }
    }
}

/// One test sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct TestSheet {
    geometry: Geometry,
    setup_code: SetupCode,
    spec: TestSheetSpec,
}

impl TestSheet {
    /// Lays out a test sheet.
    ///
    /// # Errors
    /// [`SheetError`] for paper outside A5 to A3 (half Letter and Super B still fit), and for
    /// codes and numbers that the sheet cannot carry.
    pub fn new(spec: TestSheetSpec) -> Result<Self, SheetError> {
        let geometry = Geometry::new(spec.paper, spec.flip)?;
        let setup_code = spec.setup_code.parse()?;
        if !(1..=9999).contains(&spec.sheet) {
            return Err(SheetError::SheetNumber(spec.sheet));
        }
        Ok(Self {
            geometry,
            setup_code,
            spec,
        })
    }

    /// Where everything lies.
    pub fn geometry(&self) -> &Geometry {
        &self.geometry
    }

    /// What the sheet is made for.
    pub fn spec(&self) -> &TestSheetSpec {
        &self.spec
    }

    /// What the code at one end of one side says.
    pub fn code(&self, side: Side, end: End) -> SheetCode {
        SheetCode {
            side,
            end,
            flip: self.geometry.flip(),
            paper: self.geometry.paper(),
            sheet: self.spec.sheet,
            setup: self.setup_code.clone(),
        }
    }

    /// The places for the pin.
    pub fn stations(&self) -> [Station; 6] {
        self.geometry.stations()
    }

    /// One side to print, upright in its own frame.
    pub fn drawing(&self, side: Side) -> Drawing {
        draw::side(self, side)
    }
}
