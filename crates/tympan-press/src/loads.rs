//! How many sheets go into the tray at a time, and in which order the passes print them.

use serde::{Deserialize, Serialize};
use tympan_sheet::{Side, Stock};

use crate::behaviour::Order;

/// A feed tray as a run needs to know it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tray {
    /// Sheets of 80 g/m² paper that it holds, as makers state it.
    pub holds: u32,
    /// The share of its height below which it feeds badly, 0 to 1.
    pub from: f64,
    /// The share above which it feeds badly.
    pub to: f64,
}

/// The height that makers' counts of sheets stand for, µm a sheet (common practice: 80 g/m² paper
/// is about 0.1 mm thick).
const PLAIN_UM: f64 = 100.0;
/// What a tray holds where nobody said it (common practice: the rear tray of a desk printer).
const USUALLY_HOLDS: u32 = 100;
/// From these on stock counts as heavy (common practice: where makers' own lists begin to ask for
/// the rear tray and smaller fills).
const HEAVY_G_M2: f64 = 160.0;
const HEAVY_UM: f64 = 200.0;

/// What a stock asks of a tray.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Weight {
    /// Ordinary paper.
    Ordinary,
    /// Heavy or glossy: makers often ask for less than half a tray.
    Heavy,
}

/// Whether a stock counts as heavy or glossy; `media` is the media type chosen when printing.
pub fn weight(stock: Option<&Stock>, media: &str) -> Weight {
    let heavy = stock.is_some_and(|stock| {
        stock.grammage().is_some_and(|g| g >= HEAVY_G_M2)
            || stock.caliper().is_some_and(|c| c.um >= HEAVY_UM)
    });
    let name = stock.map_or("", Stock::name);
    let glossy = [name, media].iter().any(|text| {
        let text = text.to_lowercase();
        text.contains("gloss") || text.contains("photo")
    });
    if heavy || glossy {
        Weight::Heavy
    } else {
        Weight::Ordinary
    }
}

impl Tray {
    /// A tray of which only some is known. Common practice for the rest: it holds 100 sheets, and
    /// feeds best between a half and three quarters of its height; heavy and glossy stock under a
    /// half.
    pub fn new(weight: Weight, holds: Option<u32>, from: Option<f64>, to: Option<f64>) -> Self {
        let (low, high): (f64, f64) = match weight {
            Weight::Ordinary => (0.5, 0.75),
            Weight::Heavy => (0.0, 0.5),
        };
        let to = to.unwrap_or_else(|| high.max(from.unwrap_or(0.0)));
        Self {
            holds: holds.unwrap_or(USUALLY_HOLDS),
            from: from.unwrap_or(low).min(to),
            to,
        }
    }

    /// How it is filled with stock of this thickness, µm.
    pub fn fill(&self, caliper_um: f64) -> Fill {
        let all = f64::from(self.holds) * PLAIN_UM / caliper_um.max(1.0);
        let top = ((all * self.to).floor() as u32).max(1);
        let under = ((all * self.from).ceil() as u32).min(top - 1);
        Fill {
            at_a_time: top - under,
            under,
        }
    }
}

/// How many sheets a tray gets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fill {
    /// The most sheets to be printed with one load.
    pub at_a_time: u32,
    /// Sheets of the same thickness that stay beneath them, so that the last ones feed as the first
    /// do; 0 where the tray may run empty.
    pub under: u32,
}

/// Divides the sheets into as few loads as the tray allows, as even as can be: a small last load
/// would feed otherwise than the rest.
pub fn loads(sheets: &[u32], at_a_time: u32) -> Vec<Vec<u32>> {
    let count = sheets.len().div_ceil((at_a_time as usize).max(1));
    let mut rest = sheets;
    let mut loads = Vec::with_capacity(count);
    for left in (1..=count).rev() {
        let (load, later) = rest.split_at(rest.len().div_ceil(left));
        loads.push(load.to_vec());
        rest = later;
    }
    loads
}

/// When the second sides follow.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Turns {
    /// Each load's second sides follow its first ones: a fault is seen early.
    #[default]
    EachLoad,
    /// All first sides, then all second ones: ink dries meanwhile, and a common back printed first
    /// serves as stock.
    AllFirst,
}

/// One trip of a load through the printer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pass {
    /// The load, counted from 0.
    pub load: usize,
    /// The side that it prints; none where the machine prints both.
    pub side: Option<Side>,
    /// The sheets in the order in which their pages are sent.
    pub sheets: Vec<u32>,
}

/// The passes of a run that is flipped by hand, in the order in which they are printed.
pub fn passes(loads: &[Vec<u32>], first: Side, order: Order, turns: Turns) -> Vec<Pass> {
    let pass = |load: usize, side: Side| Pass {
        load,
        side: Some(side),
        sheets: if side == first {
            loads[load].clone()
        } else {
            order.of(&loads[load])
        },
    };
    let all = 0..loads.len();
    match turns {
        Turns::EachLoad => all
            .flat_map(|load| [pass(load, first), pass(load, first.other())])
            .collect(),
        Turns::AllFirst => all
            .clone()
            .map(|load| pass(load, first))
            .chain(all.map(|load| pass(load, first.other())))
            .collect(),
    }
}

/// What is left of a pass that stopped at a sheet, which is spoiled.
///
/// Blank sheets are all alike: a first pass simply begins again with the spoiled one, and the
/// delivered pile is whole again in its order. In a second pass each sheet is itself: it goes on
/// with the next one, and the spoiled sheet must be made anew on both sides.
///
/// `None` where the sheet is not in the pass.
pub fn rest(pass: &Pass, stopped_at: u32, is_first: bool) -> Option<Vec<u32>> {
    let at = pass.sheets.iter().position(|&sheet| sheet == stopped_at)?;
    let from = if is_first { at } else { at + 1 };
    Some(pass.sheets[from..].to_vec())
}

/// The fewest spare sheets that are enough 19 times in 20, where this share of sheets is spoiled,
/// each by itself: a binomial quantile. At least one where there are sheets at all (common
/// practice).
pub fn spares(sheets: u32, rejects: f64) -> u32 {
    const ENOUGH: f64 = 0.95;
    let p = rejects.clamp(0.0, 0.99);
    if sheets == 0 {
        return 0;
    }
    // So many good sheets are wanted: the spoiled ones before the last good one are negative
    // binomial.
    let good = f64::from(sheets);
    let mut term = (good * (1.0 - p).ln()).exp();
    let mut sum = term;
    let mut spoiled = 0;
    while sum < ENOUGH && spoiled < 10 * sheets {
        spoiled += 1;
        let k = f64::from(spoiled);
        term *= p * (good + k - 1.0) / k;
        sum += term;
    }
    spoiled.max(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(count: u32) -> Vec<u32> {
        (1..=count).collect()
    }

    #[test]
    fn loads_are_even_and_lose_no_sheet() {
        for sheets in 1..80 {
            for at_a_time in 1..30 {
                let loads = loads(&numbers(sheets), at_a_time);
                assert_eq!(loads.concat(), numbers(sheets));
                let sizes: Vec<usize> = loads.iter().map(Vec::len).collect();
                let (least, most) = (sizes.iter().min(), sizes.iter().max());
                let (least, most) = (least.expect("a load"), most.expect("a load"));
                assert!(
                    most - least <= 1 && *most <= at_a_time as usize,
                    "{sizes:?}"
                );
                assert_eq!(loads.len(), sheets.div_ceil(at_a_time) as usize);
            }
        }
    }

    /// 100 sheets of 0.1 mm are 10 mm. Of 0.25 mm card that is 40 sheets, and half of it 20; of
    /// paper, a quarter of the tray is printed over a half that stays.
    #[test]
    fn trays_are_filled_by_thickness() {
        let card = Tray::new(Weight::Heavy, None, None, None).fill(250.0);
        assert_eq!(
            card,
            Fill {
                at_a_time: 20,
                under: 0
            }
        );
        let paper = Tray::new(Weight::Ordinary, None, None, None).fill(100.0);
        assert_eq!(
            paper,
            Fill {
                at_a_time: 25,
                under: 50
            }
        );
        let told = Tray::new(Weight::Heavy, Some(50), Some(0.2), Some(0.6)).fill(250.0);
        assert_eq!(
            told,
            Fill {
                at_a_time: 8,
                under: 4
            }
        );
        // A tray that holds not even one such sheet takes one at a time.
        let board = Tray::new(Weight::Heavy, Some(1), None, None).fill(2000.0);
        assert_eq!(
            board,
            Fill {
                at_a_time: 1,
                under: 0
            }
        );
    }

    #[test]
    fn heavy_and_glossy_stock_is_known_by_weight_thickness_or_name() {
        let of =
            |text: &str, media: &str| weight(Some(&text.parse::<Stock>().expect("a stock")), media);
        assert_eq!(of("65 lb cover", ""), Weight::Heavy);
        assert_eq!(of("0.30 mm", ""), Weight::Heavy);
        assert_eq!(of("120 gsm gloss", ""), Weight::Heavy);
        assert_eq!(of("120 gsm", "Photo Paper"), Weight::Heavy);
        assert_eq!(of("120 gsm", "plain"), Weight::Ordinary);
        assert_eq!(weight(None, ""), Weight::Ordinary);
    }

    #[test]
    fn passes_come_by_loads_or_by_sides() {
        let loads = loads(&numbers(5), 3);
        let told = |turns| {
            passes(&loads, Side::Back, Order::Reversed, turns)
                .into_iter()
                .map(|pass| (pass.side.expect("by hand"), pass.sheets))
                .collect::<Vec<_>>()
        };
        let (back, front) = (Side::Back, Side::Front);
        let each = [
            (back, vec![1, 2, 3]),
            (front, vec![3, 2, 1]),
            (back, vec![4, 5]),
            (front, vec![5, 4]),
        ];
        assert_eq!(told(Turns::EachLoad), each);
        let [a, b, c, d] = each;
        assert_eq!(told(Turns::AllFirst), [a, c, b, d]);
    }

    #[test]
    fn after_a_jam_the_rest_of_the_pass_is_exactly_what_is_missing() {
        let pass = Pass {
            load: 0,
            side: Some(Side::Back),
            sheets: vec![20, 19, 18, 17, 16],
        };
        assert_eq!(rest(&pass, 18, false), Some(vec![17, 16]));
        assert_eq!(rest(&pass, 18, true), Some(vec![18, 17, 16]));
        assert_eq!(rest(&pass, 16, false), Some(vec![]));
        assert_eq!(rest(&pass, 15, false), None);
    }

    /// Against sums of the negative binomial's probabilities done by hand in the plainest way.
    #[test]
    fn spares_are_enough_nineteen_times_in_twenty() {
        for (sheets, p) in [(40, 0.05), (40, 0.2), (1, 0.5), (200, 0.01), (30, 0.0)] {
            let enough = spares(sheets, p);
            let sure = |spare: u32| {
                (0..=spare)
                    .map(|k| {
                        let ways: f64 = (1..=k)
                            .map(|i| f64::from(sheets - 1 + i) / f64::from(i))
                            .product();
                        ways * p.powi(k as i32) * (1.0 - p).powi(sheets as i32)
                    })
                    .sum::<f64>()
            };
            assert!(sure(enough) >= 0.95, "{sheets} {p}: {enough}");
            assert!(
                enough == 1 || sure(enough - 1) < 0.95,
                "{sheets} {p}: {enough}"
            );
        }
    }
}
