//! Why a picture is refused, and what to do about it.

use serde::Serialize;
use tympan_sheet::{Side, Size};

use crate::witness::RunCode;

/// Why nothing is logged from a picture.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// The bytes are no picture of a known kind.
    #[error("this file is not a picture that can be read")]
    NotAPicture,
    /// HEIC and AVIF.
    #[error("this is a {0} file, which cannot be read here")]
    Format(&'static str),
    /// The file breaks off or contradicts itself.
    #[error("this picture is damaged: {0}")]
    Damaged(String),
    /// More pixels than a test sheet ever needs.
    #[error("this picture is too large: {width} × {height} pixels")]
    TooLarge {
        /// Width, px.
        width: u64,
        /// Height, px.
        height: u64,
    },
    /// No test sheet's code was found.
    #[error("no test sheet was found in this picture")]
    NotATestSheet,
    /// A test sheet of another version.
    #[error("this test sheet was made by another version of Tympan")]
    OtherVersion,
    /// Several test sheets, or both sides, in one picture.
    #[error("there is more than one test sheet in this picture")]
    SeveralSheets,
    /// Another set-up's sheet.
    #[error("this test sheet belongs to the set-up {found}, not to {expected}")]
    OtherSetup {
        /// What the sheet says.
        found: String,
        /// What was asked for.
        expected: String,
    },
    /// Witness marks of a run that is not known.
    #[error("this sheet belongs to the run {0}, which is not among this set-up's runs")]
    OtherRun(RunCode),
    /// Another paper than the set-up's.
    #[error("this test sheet is for paper of {:.1} × {:.1} mm, the set-up's is {:.1} × {:.1} mm",
        found.w, found.h, expected.w, expected.h)]
    OtherPaper {
        /// What the sheet says.
        found: Size,
        /// What was asked for.
        expected: Size,
    },
    /// A sheet made for the other flip than the set-up's.
    #[error("this test sheet is made for the other way of turning the sheet than this set-up")]
    OtherFlip,
    /// The picture is mirrored.
    #[error("this picture is mirrored")]
    Mirrored,
    /// Resolution too low.
    #[error("this picture is too coarse to find the marks: {:.0} pixels to the inch", px_per_mm * 25.4)]
    TooCoarse {
        /// Pixels to the mm of the sheet.
        px_per_mm: f64,
    },
    /// Out of focus or shaken.
    #[error("this picture is too blurred to find the marks")]
    TooBlurred,
    /// Too few marks are in the picture.
    #[error("too little of the test sheet is in this picture: {found} of {expected} marks")]
    Cropped {
        /// Marks found.
        found: usize,
        /// Marks there should be.
        expected: usize,
    },
    /// The marks are not where a flat sheet has them.
    #[error("the marks are not where a flat sheet has them: off by {residual_um:.0} µm")]
    Distorted {
        /// The marks' typical distance from where they should be, µm.
        residual_um: f64,
    },
    /// The marks' pattern is not the one the code promises.
    #[error("the marks in this picture are not those of the {0} of a test sheet")]
    WrongMarks(Side),
    /// One side without the other.
    #[error("this picture shows only the {0}, and nothing shines through")]
    OtherSideMissing(Side),
    /// The stock lets too little light through.
    #[error("this stock is opaque: the {0} hardly shines through")]
    TooFaint(Side),
    /// Two pictures of one side of one sheet.
    #[error("both pictures show the {0}")]
    SameSideTwice(Side),
    /// A sheet's side for which a better picture was used.
    #[error("another picture of the {0} of this sheet was used")]
    Spare(Side),
    /// The front's page is on both sides of the sheet.
    #[error("the {0} was printed on both sides of this sheet")]
    PrintedTwice(Side),
    /// The pictures are of two sheets.
    #[error("the front and the back are of different sheets")]
    DifferentSheets,
    /// The back stands on its head.
    #[error("the back was printed with the wrong flip: it stands on its head behind the front")]
    WrongFlip,
    /// A program scaled the print.
    #[error("the test sheet was printed scaled, to about {:.1} %", factor * 100.0)]
    Scaled {
        /// Printed size over true size.
        factor: f64,
    },
    /// Nothing ties the two scans together.
    #[error("nothing ties the two scans together: no holes, and no edges against a dark ground")]
    NoLink,
    /// Holes and edges, or the edges among themselves, contradict each other.
    #[error("the holes or edges in the two scans disagree by {:.2} mm", mm)]
    LinkDisagrees {
        /// By how much, mm.
        mm: f64,
    },
    /// The register error is beyond anything a printer does.
    #[error("the back lies {:.1} mm off, which is more than can be believed", mm)]
    Unbelievable {
        /// How far off at the sheet's centre, mm.
        mm: f64,
    },
}

/// A refusal as scripts see it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RefusalReport {
    /// A word that stays the same from release to release.
    pub code: &'static str,
    /// What is the matter.
    pub message: String,
    /// What to do.
    pub hint: &'static str,
}

impl Refusal {
    /// A word that stays the same from release to release.
    pub fn code(&self) -> &'static str {
        match self {
            Self::NotAPicture => "not_a_picture",
            Self::Format(_) => "format",
            Self::Damaged(_) => "damaged",
            Self::TooLarge { .. } => "too_large",
            Self::NotATestSheet => "not_a_test_sheet",
            Self::OtherVersion => "other_version",
            Self::SeveralSheets => "several_sheets",
            Self::OtherSetup { .. } => "other_setup",
            Self::OtherRun(_) => "other_run",
            Self::OtherPaper { .. } => "other_paper",
            Self::OtherFlip => "other_flip",
            Self::Mirrored => "mirrored",
            Self::TooCoarse { .. } => "too_coarse",
            Self::TooBlurred => "too_blurred",
            Self::Cropped { .. } => "cropped",
            Self::Distorted { .. } => "distorted",
            Self::WrongMarks(_) => "wrong_marks",
            Self::OtherSideMissing(_) => "other_side_missing",
            Self::TooFaint(_) => "too_faint",
            Self::SameSideTwice(_) => "same_side_twice",
            Self::Spare(_) => "spare",
            Self::PrintedTwice(_) => "printed_twice",
            Self::DifferentSheets => "different_sheets",
            Self::WrongFlip => "wrong_flip",
            Self::Scaled { .. } => "scaled",
            Self::NoLink => "no_link",
            Self::LinkDisagrees { .. } => "link_disagrees",
            Self::Unbelievable { .. } => "unbelievable",
        }
    }

    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::NotAPicture => "give PNG, JPEG, TIFF or WebP files",
            Self::Format(_) => {
                "save or share it as JPEG (on an iPhone: Settings, Camera, Formats, Most Compatible)"
            }
            Self::Damaged(_) => "copy or scan it again",
            Self::TooLarge { .. } => "scan one sheet at 300 or 600 dpi",
            Self::NotATestSheet => {
                "scan a whole sheet made by `tympan testsheet`, sharp and evenly lit, at 300 dpi"
            }
            Self::OtherVersion => "print a new test sheet with this version",
            Self::SeveralSheets => "scan one side of one sheet at a time",
            Self::OtherSetup { .. } => "name that set-up, or read a sheet printed for this one",
            Self::OtherRun(_) => {
                "name the set-up that it was laid out for, and use the data folder where that was done"
            }
            Self::OtherPaper { .. } | Self::OtherFlip => {
                "print a test sheet for this set-up with `tympan testsheet`"
            }
            Self::Mirrored => {
                "switch off mirroring in the scanning program or the camera (selfie cameras \
                 mirror), and take it again"
            }
            Self::TooCoarse { .. } => "scan at 300 dpi, or fill the photo with the sheet",
            Self::TooBlurred => {
                "lay the sheet flat on the glass, or hold the camera still and focus"
            }
            Self::Cropped { .. } => "take the whole sheet into the picture",
            Self::Distorted { .. } => "lay the sheet flat and do not move it while scanning",
            Self::WrongMarks(_) => "print the test sheet again, unchanged, at actual size",
            Self::OtherSideMissing(_) => {
                "scan the other side too, or photograph the sheet against a window or lamp"
            }
            Self::TooFaint(_) => "use two scans with punched holes, or a stronger light",
            Self::SameSideTwice(_) => "turn the sheet over for the second picture",
            Self::Spare(_) => "nothing is amiss: one picture of each side is enough",
            Self::PrintedTwice(_) => "print page 1 on the front and page 2 on the back",
            Self::DifferentSheets => "scan both sides of one and the same sheet",
            Self::WrongFlip => {
                "turn the stack over the other way for the second pass, or choose the other \
                 two-sided setting (long edge or short edge)"
            }
            Self::Scaled { .. } => "print the test sheet at \"actual size\" or 100 %, not \"fit\"",
            Self::NoLink => {
                "punch two or more holes, or lay a black sheet behind, and scan both sides again"
            }
            Self::LinkDisagrees { .. } => {
                "make sure that both scans are of one and the same piece of paper, and scan both \
                 sides again, flat, with a black sheet behind"
            }
            Self::Unbelievable { .. } => "look at the sheet: is the back printed as it should be?",
        }
    }

    /// All of it, for scripts.
    pub fn report(&self) -> RefusalReport {
        RefusalReport {
            code: self.code(),
            message: self.to_string(),
            hint: self.hint(),
        }
    }
}
