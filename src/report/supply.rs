//! What the supply does to the speed, in words.

use super::numbers::with_uncertainty;
use crate::references::supply::{SupplyJudgement, SupplyVerdict};

/// "holds", "follows the cells" or "not told apart", with the figures behind it.
pub fn headline(judged: &SupplyJudgement) -> String {
    let [low, high] = judged.between_volts;
    let change = with_uncertainty(judged.change.0, Some(judged.uncertainty.0), true);
    let between = format!("{change} % from {low} to {high} V");
    match judged.verdict {
        SupplyVerdict::Holds => format!("HOLDS: {between}"),
        SupplyVerdict::Follows => {
            format!("FOLLOWS THE CELLS: {between}, {} % a volt", slope(judged))
        }
        SupplyVerdict::NotTold => format!("NOT TOLD APART: {between}"),
    }
}

/// What to make of it.
pub fn advice(judged: &SupplyJudgement) -> &'static str {
    match judged.verdict {
        SupplyVerdict::Holds => "the governor holds: a fault of the speed is elsewhere",
        SupplyVerdict::Follows => {
            "likely tired cells, or a governor that does not hold: fresh cells first, then the \
             governor"
        }
        SupplyVerdict::NotTold if judged.is_too_near() => {
            "the voltages are less than a tenth apart, which tells nothing: take one further away"
        }
        SupplyVerdict::NotTold if judged.change.0 < -judged.uncertainty.0 => {
            "slower with more volts, as cells never do: let it warm up, touch nothing, measure again"
        }
        SupplyVerdict::NotTold => "a voltage further away, or each once more, tells",
    }
}

/// The same between two snapshots that may lie apart.
pub(super) fn between_snapshots(judged: &SupplyJudgement, from_to: &str) -> String {
    let change = with_uncertainty(judged.change.0.abs(), Some(judged.uncertainty.0), false);
    match judged.verdict {
        SupplyVerdict::Holds => format!(
            "The supply went {from_to} and the speed stayed within {change} %: it is held well."
        ),
        SupplyVerdict::Follows => format!(
            "The supply went {from_to}; if nothing else was touched, the speed goes by {} % for \
             each volt more: tired cells, or a speed regulator that does not hold.",
            slope(judged)
        ),
        SupplyVerdict::NotTold if judged.is_too_near() => format!(
            "The supply went {from_to} and the speed by {change} %: less than a tenth of the \
             voltage tells nothing."
        ),
        SupplyVerdict::NotTold => format!(
            "The supply went {from_to} and the speed by {change} %: not enough to tell whether it \
             holds or follows the cells."
        ),
    }
}

fn slope(judged: &SupplyJudgement) -> String {
    let uncertainty = Some(judged.uncertainty_percent_per_volt);
    with_uncertainty(judged.percent_per_volt, uncertainty, true)
}
