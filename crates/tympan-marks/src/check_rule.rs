//! The check rules: telling a print that a program scaled from what a printer does.
//!
//! "Fit to page" shrinks both axes alike, on both sides, by more than printers stretch; a
//! borderless setting enlarges. That is no register error and must not be corrected away.

use serde::{Deserialize, Serialize};
use tympan_sheet::Size;

use crate::geometry::RULE;

/// A scale off by more than this share, alike in both axes and on both sides, is a program's work.
pub const SCALED: f64 = 0.01;
/// Printers keep their own length within this share (usual values are 0.1 to 0.3 %; paper shrinks
/// by as much in a fuser).
pub const OWN: f64 = 0.006;
/// Two rules agree when they differ by no more than this, mm: reading to half a millimetre, at
/// both ends.
const ALIKE_MM: f64 = 0.45;

/// What the check rules measure, mm. Only what was measured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// The rule across on the front.
    pub front_across: Option<f64>,
    /// The rule down the front.
    pub front_along: Option<f64>,
    /// The rule across on the back.
    pub back_across: Option<f64>,
    /// The rule down the back.
    pub back_along: Option<f64>,
}

impl Measured {
    /// Both rules of one or the other side.
    fn all(self) -> impl Iterator<Item = f64> {
        [
            self.front_across,
            self.front_along,
            self.back_across,
            self.back_along,
        ]
        .into_iter()
        .flatten()
    }
}

/// What a scale is likely to come from.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Cause {
    /// "Fit to page" within the margins that a printer cannot print, of this width, mm.
    FitToMargins {
        /// The margin on every edge, mm.
        margin_mm: f64,
        /// The scale that it gives.
        factor: f64,
    },
    /// A4 fitted on Letter or the reverse.
    OtherPaper {
        /// The scale that it gives.
        factor: f64,
    },
    /// Any other reduction.
    Reduced,
    /// An enlargement: borderless printing, which makes the page larger than the paper.
    Borderless,
}

/// What the check rules say.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "verdict", rename_all = "snake_case")]
pub enum Verdict {
    /// 100 mm, as near as a ruler can tell.
    TrueSize,
    /// The printer's own stretch: small, and to be corrected like any other.
    Stretch {
        /// Measured over true, across.
        across: f64,
        /// Measured over true, along.
        along: f64,
    },
    /// A program scaled the print.
    Scaled {
        /// Measured over true, the mean of what was measured.
        factor: f64,
        /// Where it likely comes from.
        cause: Cause,
    },
    /// The two sides are scaled unlike each other, or the axes are off by far and unlike each
    /// other: a slip in measuring, or sides printed with different settings.
    Odd {
        /// The least of what was measured, over true.
        least: f64,
        /// The most.
        most: f64,
    },
    /// Nothing was measured.
    Unknown,
}

impl Verdict {
    /// Whether readings of this sheet may be used.
    pub fn is_usable(self) -> bool {
        matches!(self, Self::TrueSize | Self::Stretch { .. } | Self::Unknown)
    }

    /// What it means and what to do, in plain words.
    pub fn explain(self) -> String {
        match self {
            Self::TrueSize => "the print is true to size".to_owned(),
            Self::Stretch { across, along } => format!(
                "this printer stretches by {:+.2} % across and {:+.2} % along; that is corrected \
                 with the rest",
                (across - 1.0) * 100.0,
                (along - 1.0) * 100.0
            ),
            Self::Scaled { factor, cause } => {
                let percent = factor * 100.0;
                let why = match cause {
                    Cause::FitToMargins { margin_mm, factor } => format!(
                        "that is what \"fit to page\" makes of it with margins of {margin_mm:.2} \
                         mm ({:.1} %): choose \"actual size\" or 100 %",
                        factor * 100.0
                    ),
                    Cause::OtherPaper { factor } => format!(
                        "that is what \"fit\" makes of it between A4 and Letter ({:.1} %): set \
                         the same paper in the program and the printer, and \"actual size\"",
                        factor * 100.0
                    ),
                    Cause::Reduced => "choose \"actual size\" or 100 %".to_owned(),
                    Cause::Borderless => "borderless printing enlarges the page beyond the paper: \
                                          print with borders, at \"actual size\""
                        .to_owned(),
                };
                format!("the print was scaled to {percent:.1} %; {why}. Print the test sheet again")
            }
            Self::Odd { least, most } => format!(
                "the rules disagree, {:.1} % to {:.1} %: measure again, and print both sides \
                 with the same settings",
                least * 100.0,
                most * 100.0
            ),
            Self::Unknown => "the check rules were not measured".to_owned(),
        }
    }
}

/// What the rules say about a print on this paper.
pub fn judge(measured: Measured, paper: Size) -> Verdict {
    let all: Vec<f64> = measured.all().collect();
    if all.is_empty() {
        return Verdict::Unknown;
    }
    let least = all.iter().copied().fold(f64::INFINITY, f64::min);
    let most = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mean = all.iter().sum::<f64>() / all.len() as f64 / RULE;
    let mean_of = |a: Option<f64>, b: Option<f64>| {
        let both: Vec<f64> = [a, b].into_iter().flatten().collect();
        if both.is_empty() {
            1.0
        } else {
            both.iter().sum::<f64>() / both.len() as f64 / RULE
        }
    };
    if (mean - 1.0).abs() > SCALED && most - least <= ALIKE_MM {
        return Verdict::Scaled {
            factor: mean,
            cause: cause_of(mean, paper),
        };
    }
    let far = |mm: f64| (mm / RULE - 1.0).abs();
    if far(least).max(far(most)) > SCALED {
        return Verdict::Odd {
            least: least / RULE,
            most: most / RULE,
        };
    }
    let across = mean_of(measured.front_across, measured.back_across);
    let along = mean_of(measured.front_along, measured.back_along);
    // A ruler's quarter millimetre is no stretch.
    if (across - 1.0).abs() <= 0.0025 && (along - 1.0).abs() <= 0.0025 {
        return Verdict::TrueSize;
    }
    if (across - 1.0).abs() <= OWN && (along - 1.0).abs() <= OWN {
        return Verdict::Stretch { across, along };
    }
    Verdict::Odd {
        least: least / RULE,
        most: most / RULE,
    }
}

/// Margins that printers cannot print, mm: 3 mm and 4 mm on inkjets, 100 dots at 600 dpi (4.23
/// mm) on lasers, 1/6 inch, 4.32 mm, 5 mm, 1/4 inch, 12.7 mm (makers' data sheets; common
/// practice).
const MARGINS: [f64; 8] = [3.0, 4.0, 4.23, 4.32, 5.0, 6.0, 6.35, 12.7];
const A4: Size = Size::new(210.0, 297.0);
const LETTER: Size = Size::new(215.9, 279.4);

/// The usual cause whose factor lies nearest, within what a ruler tells.
fn cause_of(factor: f64, paper: Size) -> Cause {
    if factor > 1.0 {
        return Cause::Borderless;
    }
    let fit = |from: Size, into: Size| (into.w / from.w).min(into.h / from.h);
    let mut causes: Vec<(f64, Cause)> = MARGINS
        .iter()
        .map(|&margin_mm| {
            let inner = Size::new(paper.w - 2.0 * margin_mm, paper.h - 2.0 * margin_mm);
            let factor = fit(paper, inner);
            (factor, Cause::FitToMargins { margin_mm, factor })
        })
        .collect();
    for (from, onto) in [(A4, LETTER), (LETTER, A4)] {
        if paper.is_close(from, 1.0) {
            let factor = fit(from, onto);
            causes.push((factor, Cause::OtherPaper { factor }));
        }
    }
    causes
        .into_iter()
        .map(|(f, cause)| ((f - factor).abs(), cause))
        .filter(|(off, _)| *off <= 0.004)
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(Cause::Reduced, |(_, cause)| cause)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn same(mm: f64) -> Measured {
        let m = Some(mm);
        Measured {
            front_across: m,
            front_along: m,
            back_across: m,
            back_along: m,
        }
    }

    /// A4 with 4.32 mm hard margins under "fit" comes to 95.89 % (references, section 4).
    #[test]
    fn fit_to_page_is_named_with_its_margin() {
        let verdict = judge(same(95.9), A4);
        let Verdict::Scaled {
            cause: Cause::FitToMargins { margin_mm, factor },
            ..
        } = verdict
        else {
            panic!("{verdict:?}");
        };
        assert_eq!(margin_mm, 4.32);
        assert!((factor - 0.9589).abs() < 5e-5);
        assert!(!verdict.is_usable());
    }

    #[test]
    fn rules_of_96_8_and_96_9_are_a_scaled_print() {
        let measured = Measured {
            front_across: Some(96.8),
            front_along: Some(96.9),
            ..Measured::default()
        };
        assert!(matches!(judge(measured, A4), Verdict::Scaled { .. }));
    }

    #[test]
    fn over_a_hundred_percent_is_a_borderless_enlargement() {
        let verdict = judge(same(102.5), A4);
        assert!(
            matches!(
                verdict,
                Verdict::Scaled {
                    cause: Cause::Borderless,
                    ..
                }
            ),
            "{verdict:?}"
        );
    }

    #[test]
    fn a_ruler_cannot_tell_a_quarter_of_a_millimetre_from_true_size() {
        assert_eq!(judge(same(100.2), A4), Verdict::TrueSize);
    }

    #[test]
    fn half_a_percent_along_the_feed_is_the_printers_own() {
        let measured = Measured {
            front_along: Some(100.5),
            back_along: Some(100.5),
            ..same(100.0)
        };
        let verdict = judge(measured, A4);
        assert!(matches!(verdict, Verdict::Stretch { .. }), "{verdict:?}");
        assert!(verdict.is_usable());
    }

    #[test]
    fn one_side_scaled_and_the_other_not_is_odd() {
        let measured = Measured {
            back_across: Some(100.0),
            back_along: Some(100.0),
            ..same(96.0)
        };
        assert!(matches!(judge(measured, A4), Verdict::Odd { .. }));
    }

    #[test]
    fn nothing_measured_says_nothing() {
        assert_eq!(judge(Measured::default(), A4), Verdict::Unknown);
    }

    #[test]
    fn letter_fitted_on_a4_is_named() {
        let factor = 210.0 / 215.9;
        let verdict = judge(same(factor * 100.0), LETTER);
        assert!(
            matches!(
                verdict,
                Verdict::Scaled {
                    cause: Cause::OtherPaper { .. },
                    ..
                }
            ),
            "{verdict:?}"
        );
    }
}
