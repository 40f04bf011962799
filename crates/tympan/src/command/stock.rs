//! `tympan stock`: paper weights in all units.

use tympan_app::Refusal;
use tympan_app::sheet::{Length, Stock};

use crate::args::{Cli, StockArgs};
use crate::say;

pub(crate) fn run(cli: &Cli, args: &StockArgs) -> Result<(), Refusal> {
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
