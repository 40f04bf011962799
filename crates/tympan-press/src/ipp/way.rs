//! How a file is sent, so that nothing on the way scales it.

use serde::Serialize;

use super::Abilities;
use crate::raster::{ColourSpace, SheetBack};

/// How a file is sent.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "way")]
pub enum Way {
    /// The PDF itself; the printer says that it can leave the size alone.
    Pdf,
    /// Pictures of the pages, dot for dot (PWG 5102.4).
    Raster {
        /// Dots per inch.
        dpi: u32,
        /// Grey or colour.
        space: ColourSpace,
        /// How the printer wants the backs.
        sheet_back: SheetBack,
    },
    /// The PDF through a queue on this machine, whose filters may scale it.
    Queue,
}

/// Why a printer can be sent nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoWay {
    /// It takes PDF but may scale it, and no raster.
    #[error("this printer takes PDF, but does not say that it can leave the size alone")]
    MayScale,
    /// Neither PDF nor PWG raster.
    #[error("this printer takes neither PDF nor PWG raster")]
    Neither,
    /// Raster, but in no form that Tympan makes.
    #[error("this printer takes PWG raster only in a form that Tympan does not make")]
    Form,
}

/// The resolution that is asked for where the printer has several, dots per inch: finer takes
/// four times as long and shows no difference on card.
const USUAL_DPI: f64 = 600.0;

impl NoWay {
    /// What to do instead.
    pub fn hint(self) -> &'static str {
        "print through a queue of this machine's print service, whose address is like \
         ipp://localhost/printers/NAME (tympan print --list shows them), and measure the check rule; \
         or print the file from a dialog at 100 %"
    }
}

/// Chooses how to send to a printer: PDF where its size is left alone, else raster, else through
/// a queue.
///
/// # Errors
/// [`NoWay`] where the printer itself can take the file in none of these ways.
pub fn way(printer: &Abilities, grey: bool) -> Result<Way, NoWay> {
    if printer.is_queue && printer.takes_pdf() {
        return Ok(Way::Queue);
    }
    if printer.takes_pdf() && printer.keeps_size() {
        return Ok(Way::Pdf);
    }
    let Some(raster) = &printer.raster else {
        return Err(match printer.takes_pdf() {
            true => NoWay::MayScale,
            false => NoWay::Neither,
        });
    };
    let square = raster
        .resolutions
        .iter()
        .filter(|(across, along)| across == along)
        .map(|(dpi, _)| *dpi);
    let dpi = square.min_by(|a, b| {
        // The usual one, else the next coarser, else the next finer.
        let distance = |dpi: f64| match dpi <= USUAL_DPI {
            true => USUAL_DPI - dpi,
            false => dpi,
        };
        distance(*a).total_cmp(&distance(*b))
    });
    let has = |space: ColourSpace| raster.spaces.contains(&space);
    let wanted = if grey {
        [ColourSpace::Grey, ColourSpace::Colour, ColourSpace::Black]
    } else {
        [ColourSpace::Colour, ColourSpace::Grey, ColourSpace::Black]
    };
    match (dpi, wanted.into_iter().find(|space| has(*space))) {
        (Some(dpi), Some(space)) => Ok(Way::Raster {
            dpi: dpi.round() as u32,
            space,
            sheet_back: raster.sheet_back,
        }),
        _ => Err(NoWay::Form),
    }
}

impl Way {
    /// The kind of file that is sent.
    pub fn format(&self) -> &'static str {
        match self {
            Self::Pdf | Self::Queue => "application/pdf",
            Self::Raster { .. } => "image/pwg-raster",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ipp::RasterAbilities;

    fn printer(formats: &[&str], scalings: &[&str]) -> Abilities {
        let own = |all: &[&str]| all.iter().map(|text| (*text).to_owned()).collect();
        Abilities {
            formats: own(formats),
            scalings: own(scalings),
            ..Abilities::default()
        }
    }

    fn with_raster(mut printer: Abilities, dpi: &[f64], spaces: &[ColourSpace]) -> Abilities {
        printer.raster = Some(RasterAbilities {
            resolutions: dpi.iter().map(|dpi| (*dpi, *dpi)).collect(),
            spaces: spaces.to_vec(),
            sheet_back: SheetBack::Rotated,
        });
        printer
    }

    #[test]
    fn pdf_goes_to_a_printer_that_leaves_its_size_alone() {
        let leaves = printer(&["application/pdf"], &["auto", "none"]);
        assert_eq!(way(&leaves, false), Ok(Way::Pdf));
        let scales = printer(&["application/pdf"], &["auto", "fit"]);
        assert_eq!(way(&scales, false), Err(NoWay::MayScale));
        assert_eq!(
            way(&printer(&["image/jpeg"], &["none"]), false),
            Err(NoWay::Neither)
        );
    }

    #[test]
    fn raster_is_made_at_the_usual_resolution_or_the_next_coarser_one() {
        let spaces = [ColourSpace::Grey, ColourSpace::Colour];
        let dpi_of = |dpi: &[f64]| match way(&with_raster(printer(&[], &[]), dpi, &spaces), false) {
            Ok(Way::Raster { dpi, space, .. }) => {
                assert_eq!(space, ColourSpace::Colour);
                dpi
            }
            other => panic!("{other:?}"),
        };
        assert_eq!(dpi_of(&[300.0, 600.0, 1200.0]), 600);
        assert_eq!(dpi_of(&[1200.0, 360.0, 300.0]), 360);
        assert_eq!(dpi_of(&[1200.0, 720.0]), 720);
    }

    #[test]
    fn a_queue_is_known_as_one_though_it_says_that_it_keeps_the_size() {
        let mut queue = printer(&["application/pdf"], &["none"]);
        queue.is_queue = true;
        assert_eq!(way(&queue, false), Ok(Way::Queue));
    }

    #[test]
    fn raster_in_a_form_that_is_not_made_is_no_way() {
        let printer = with_raster(printer(&["image/pwg-raster"], &[]), &[600.0], &[]);
        assert_eq!(way(&printer, false), Err(NoWay::Form));
    }
}
