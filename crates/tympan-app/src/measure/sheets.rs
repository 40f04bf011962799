//! Test sheets to print.

use std::path::Path;

use tympan_marks::{TestSheet, TestSheetSpec};
use tympan_pdf::draw;
use tympan_press::behaviour::{Order, reload};
use tympan_sheet::drawing::Drawing;
use tympan_sheet::{BindingEdge, Side};
use tympan_store::{FlippedBy, SetUp, Store};

use crate::files::write_new;
use crate::refusal::Refusal;

/// One test sheet of a set-up.
///
/// # Errors
/// A [`Refusal`] where the paper is no size for a test sheet.
pub fn test_sheet(setup: &SetUp, sheet: u32) -> Result<TestSheet, Refusal> {
    Ok(TestSheet::new(TestSheetSpec {
        paper: setup.paper.size(),
        flip: setup.flip,
        leading_edge: setup.leading_edge,
        first_side: setup.first_side,
        setup_code: setup.id.to_string(),
        sheet,
        setup_name: setup.name.clone(),
        paper_name: setup.paper.title(),
        stock: setup
            .stock
            .as_ref()
            .map(|stock| stock.name().to_owned())
            .unwrap_or_default(),
    })?)
}

/// Writes numbered test sheets as one PDF and takes their numbers. The side that prints first
/// comes first. Sheets flipped by hand come as all first sides, then all second sides in the order
/// in which the pile lies when it was put back, where the printer's behaviour is known, and else in
/// the same order; the machine's come by turns.
///
/// # Errors
/// A [`Refusal`] where the paper is no size for a test sheet, or the file exists or cannot be
/// written; then no numbers are taken.
pub fn write_test_sheets(
    store: &mut Store,
    setup: &SetUp,
    count: u32,
    output: &Path,
) -> Result<std::ops::RangeInclusive<u32>, Refusal> {
    if !(1..=50).contains(&count) {
        return Err(Refusal::new(
            format!("{count} test sheets were asked for"),
            "ask for 1 to 50; three to five are usual",
        ));
    }
    crate::correct::refuse_existing(output)?;
    // The layout is tried before any number is taken.
    test_sheet(setup, 1)?;
    let numbers = store.issue_sheets(&setup.id, count)?;
    let pages = test_sheet_pages(setup, numbers.clone())?;
    let title = format!("Tympan test sheets, {}", setup.name);
    let duplex = match setup.flipped_by {
        FlippedBy::Hand => draw::Duplex::Simplex,
        FlippedBy::Machine => setup.flip.edge(setup.paper.size().portrait()).into(),
    };
    let pdf = draw::write(&pages, &draw::Meta::new(title).duplex(duplex))?;
    write_new(output, &pdf)?;
    Ok(numbers)
}

/// How test sheets of a set-up are printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HowToPrint {
    /// What to choose in a print dialog: the choice and its setting.
    pub dialog: Vec<(&'static str, String)>,
    /// What to do, pass by pass.
    pub passes: Vec<String>,
}

/// Tells how so many test sheets of a set-up are printed, whatever program they are printed from.
pub fn how_to_print(setup: &SetUp, count: u32) -> HowToPrint {
    let edge = match setup.flip.edge(setup.paper.size().portrait()) {
        BindingEdge::Long => "long edge",
        BindingEdge::Short => "short edge",
    };
    let sides = match setup.flipped_by {
        FlippedBy::Hand => "One-sided".to_owned(),
        FlippedBy::Machine => format!("Two-sided, flipped on the {edge}"),
    };
    let mut dialog = vec![
        (
            "Size",
            "Actual size, 100 %; never fitted to the page".into(),
        ),
        ("Sides", sides),
        ("Paper size", setup.paper.title()),
    ];
    for (choice, setting) in [
        ("Tray", &setup.feed),
        ("Paper type", &setup.media_type),
        ("Quality", &setup.quality),
    ] {
        if !setting.is_empty() {
            dialog.push((choice, setting.clone()));
        }
    }
    let (first, second) = (setup.first_side, setup.first_side.other());
    let plural = |side: Side| {
        if count == 1 {
            format!("the {side}")
        } else {
            format!("the {side}s")
        }
    };
    let pages = |from: u32, to: u32| {
        if from == to {
            format!("page {from}")
        } else {
            format!("pages {from} to {to}")
        }
    };
    let passes = match setup.flipped_by {
        FlippedBy::Hand => vec![
            format!("Print {}, {}.", pages(1, count), plural(first)),
            "Turn the stack over as the picture shows and put it back, as you always do.".into(),
            format!("Print {}, {}.", pages(count + 1, 2 * count), plural(second)),
        ],
        FlippedBy::Machine => vec![format!(
            "Print {} in one go; the printer turns each sheet over.",
            pages(1, 2 * count)
        )],
    };
    HowToPrint { dialog, passes }
}

/// The pages of numbered test sheets in the order of [`write_test_sheets`].
fn test_sheet_pages(
    setup: &SetUp,
    numbers: std::ops::RangeInclusive<u32>,
) -> Result<Vec<Drawing>, Refusal> {
    let sheets: Vec<TestSheet> = numbers
        .map(|number| test_sheet(setup, number))
        .collect::<Result<_, _>>()?;
    let (first, second) = (setup.first_side, setup.first_side.other());
    Ok(match setup.flipped_by {
        FlippedBy::Machine => sheets
            .iter()
            .flat_map(|sheet| [sheet.drawing(first), sheet.drawing(second)])
            .collect(),
        FlippedBy::Hand => {
            let firsts = sheets.iter().map(|sheet| sheet.drawing(first));
            let seconds: Vec<_> = sheets.iter().map(|sheet| sheet.drawing(second)).collect();
            // Where it is known how the printer lays its pile, the second sides come as it lies.
            let order = setup
                .behaviour
                .map_or(Order::Same, |printer| reload(&printer, setup.flip).order);
            firsts.chain(order.of(&seconds)).collect()
        }
    })
}
