//! `tympan stock`: paper weights in all units, and the user's own pre-cut sheets.

use tympan_app::Refusal;
use tympan_app::lay::{StockSheet, StockSheets};
use tympan_app::sheet::{Length, Stock};

use crate::args::{Cli, StockArgs};
use crate::say;

/// The user's own pre-cut sheets.
pub(super) fn library(cli: &Cli) -> Result<StockSheets, Refusal> {
    let data = tympan_app::store::data_folder(cli.data.clone())?;
    Ok(StockSheets::of(&data))
}

pub(crate) fn run(cli: &Cli, args: &StockArgs) -> Result<(), Refusal> {
    if let Some(file) = &args.keep_sheet {
        let sheet = StockSheet::read(file)?;
        library(cli)?.keep(&sheet)?;
        return say::data(&format!(
            "Kept \"{}\", {} places: lay --stock-sheet \"{}\" prints on it.",
            sheet.name,
            sheet.count(),
            sheet.name
        ));
    }
    if args.sheets {
        return sheets(cli);
    }
    let text = args.stock.join(" ");
    let stock: Stock = text.parse()?;
    if cli.json {
        let pounds: serde_json::Map<_, _> = stock
            .pounds()
            .into_iter()
            .map(|(grade, lb)| (grade.to_string(), serde_json::json!(lb)))
            .collect();
        return say::json(&serde_json::json!({
            "schema": 1, "stock": stock, "pounds": pounds,
        }));
    }
    say::data(&in_words(&stock))
}

fn sheets(cli: &Cli) -> Result<(), Refusal> {
    let all = library(cli)?.all();
    if cli.json {
        return say::json(&serde_json::json!({ "schema": 1, "sheets": all }));
    }
    if all.is_empty() {
        return say::data("No pre-cut sheets are kept yet.");
    }
    let line = |sheet: &StockSheet| {
        let places = sheet.count();
        format!("{}: {places} places on {}", sheet.name, sheet.sheet)
    };
    say::data(&all.iter().map(line).collect::<Vec<_>>().join("\n"))
}

fn in_words(stock: &Stock) -> String {
    let mut lines = vec![stock.name().to_owned()];
    match stock.grammage() {
        Some(grammage) => {
            lines.push(format!("  weight     {grammage:.1} g/m²"));
            for (grade, pounds) in stock.pounds() {
                lines.push(format!("             {pounds:>5.1} lb {grade}"));
            }
        }
        None => lines.push("  weight     not told by a thickness alone".to_owned()),
    }
    if let Some(caliper) = stock.caliper() {
        let thickness = Length::um(caliper.um);
        let mil = thickness.to_inch() * 1000.0;
        let mm = thickness.to_mm();
        lines.push(match caliper.estimated {
            Some((low, high)) => format!(
                "  thickness  about {mm:.2} mm ({mil:.0} thousandths of an inch); an estimate: {:.2} to \
                 {:.2} mm by the usual bulk of such stock",
                low / 1000.0,
                high / 1000.0
            ),
            None => format!("  thickness  {mm:.3} mm ({mil:.1} thousandths of an inch)"),
        });
    }
    if let Some(grain) = stock.grain() {
        let side = match grain {
            tympan_app::sheet::Grain::Long => "long",
            tympan_app::sheet::Grain::Short => "short",
        };
        lines.push(format!("  grain      along the {side} side"));
    }
    lines.join("\n")
}
