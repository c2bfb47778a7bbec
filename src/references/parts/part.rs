//! A part that turns: what a card says of it.

use serde::{Deserialize, Serialize};

use crate::references::card_text::{CardTextError, checked_between, checked_name};
use crate::units::Percent;

/// 95 % of a rate whose tolerance nobody has written down, in percent; common
/// practice, no source.
const USUAL_TOLERANCE_PERCENT: f64 = 2.0;
/// Turns a second of anything in a tape machine, wide of all.
pub(super) const RATES: [f64; 2] = [0.01, 500.0];
/// A tolerance beyond this says nothing, below it nothing can be known.
const TOLERANCES_PERCENT: [f64; 2] = [0.01, 60.0];
/// Lengths in a machine, mm.
const LENGTHS_MM: [f64; 2] = [0.1, 5000.0];

/// A part that turns. One of `turns_per_second`, `diameter_mm`, `driven_by` and
/// `reel` says how fast.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// As people call it; unlike all others of the card.
    pub name: String,
    /// At nominal speed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub turns_per_second: Option<f64>,
    /// It runs on the tape, with this diameter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub diameter_mm: Option<f64>,
    /// Another part turns it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub driven_by: Option<String>,
    /// Turns of this one for one of that one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ratio: Option<f64>,
    /// It is a belt of this length, on a pulley of that part...
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub belt_mm: Option<f64>,
    /// ...with this diameter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pulley_mm: Option<f64>,
    /// It carries the tape: its rate follows the pack.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reel: Option<ReelSide>,
    /// Diameter of an empty hub.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hub_mm: Option<f64>,
    /// Thickness of the tape.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tape_um: Option<f64>,
    /// Length of the tape.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub length_m: Option<f64>,
    /// 95 % of the rate, in percent of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance_percent: Option<f64>,
    /// How often a turn it may show.
    #[serde(default = "once_a_turn", skip_serializing_if = "is_once_a_turn")]
    pub harmonics: Vec<u32>,
    /// Teeth that mesh with another wheel: that often a turn as well.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub teeth: Option<u32>,
    /// Poles or commutator bars of a motor: that often a turn, and twice that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub poles: Option<u32>,
    /// Up to this amplitude it is no fault, in percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub normal_percent: Option<f64>,
    /// What sits on the same shaft and is named with it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<String>,
    /// The day on which it was learnt from a line, and from what.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub learned: Option<String>,
}

/// Which reel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ReelSide {
    /// It fills, so it slows.
    TakeUp,
    /// It empties, so it quickens.
    Supply,
}

fn once_a_turn() -> Vec<u32> {
    vec![1]
}

fn is_once_a_turn(harmonics: &[u32]) -> bool {
    harmonics == [1]
}

impl Part {
    /// With nothing but a name and a rate at nominal speed.
    pub fn turning(name: impl Into<String>, turns_per_second: f64) -> Self {
        Self {
            name: name.into(),
            turns_per_second: Some(turns_per_second),
            harmonics: once_a_turn(),
            ..Self::default()
        }
    }

    /// 95 % of the rate, in percent of it.
    pub fn tolerance_percent(&self) -> f64 {
        self.tolerance_percent.unwrap_or(USUAL_TOLERANCE_PERCENT)
    }

    /// How often a turn it may show, teeth and poles among it.
    pub fn all_harmonics(&self) -> Vec<u32> {
        let mut all = self.harmonics.clone();
        let twice = self.poles.and_then(|poles| poles.checked_mul(2));
        all.extend([self.teeth, self.poles, twice].into_iter().flatten());
        all.sort_unstable();
        all.dedup();
        all
    }

    /// Up to this amplitude it is no fault, where the card says so.
    pub fn usual(&self) -> Option<Percent> {
        self.normal_percent.map(Percent)
    }

    pub(super) fn check(&self) -> Result<(), CardTextError> {
        let key = |what: &str| format!("{what} of \"{}\"", self.name);
        let between = |what: &str, value: Option<f64>, bounds| {
            value.map_or(Ok(()), |value| checked_between(&key(what), value, bounds))
        };
        checked_name("name of a part", &self.name)?;
        between("turns_per_second", self.turns_per_second, RATES)?;
        between("diameter_mm", self.diameter_mm, LENGTHS_MM)?;
        between("ratio", self.ratio, [1e-4, 1e4])?;
        between("belt_mm", self.belt_mm, LENGTHS_MM)?;
        between("pulley_mm", self.pulley_mm, LENGTHS_MM)?;
        between("hub_mm", self.hub_mm, LENGTHS_MM)?;
        between("tape_um", self.tape_um, [1.0, 200.0])?;
        between("length_m", self.length_m, [1.0, 10_000.0])?;
        between(
            "tolerance_percent",
            self.tolerance_percent,
            TOLERANCES_PERCENT,
        )?;
        between("normal_percent", self.normal_percent, [0.0, 10.0])?;
        let harmonics = self.all_harmonics();
        if self.harmonics.len() > 16 || harmonics.iter().any(|it| !(1..=1000).contains(it)) {
            let found = format!("{harmonics:?}");
            let wanted = "write at most 16 whole numbers from 1 to 1000";
            return Err(CardTextError::impossible(
                key("harmonics, teeth or poles"),
                found,
                wanted,
            ));
        }
        for also in &self.also {
            checked_name(&key("also"), also)?;
        }
        self.check_source()
    }

    /// One thing says the rate, and nothing stands beside it that belongs to
    /// another.
    fn check_source(&self) -> Result<(), CardTextError> {
        let said = [
            ("turns_per_second", self.turns_per_second.is_some()),
            ("diameter_mm", self.diameter_mm.is_some()),
            ("driven_by", self.driven_by.is_some()),
            ("reel", self.reel.is_some()),
        ];
        let said: Vec<&str> = said
            .into_iter()
            .filter_map(|(key, stands)| stands.then_some(key))
            .collect();
        let refuse = |found: String, wanted: &str| {
            Err(CardTextError::impossible(
                format!("the rate of \"{}\"", self.name),
                found,
                wanted,
            ))
        };
        if said.len() != 1 {
            let found = if said.is_empty() {
                "not said".to_owned()
            } else {
                format!("said by {}", said.join(" and "))
            };
            return refuse(
                found,
                "write one of turns_per_second, diameter_mm, driven_by or reel",
            );
        }
        let belt = [self.belt_mm, self.pulley_mm].map(|it| it.is_some());
        let pack = [self.hub_mm, self.tape_um, self.length_m].map(|it| it.is_some());
        let is_driven = self.driven_by.is_some();
        let by_ratio = self.ratio.is_some() && belt == [false, false];
        let by_belt = self.ratio.is_none() && belt == [true, true];
        if is_driven && !by_ratio && !by_belt {
            return refuse(
                "driven_by alone".to_owned(),
                "write ratio beside it, or belt_mm and pulley_mm",
            );
        }
        if !is_driven && (self.ratio.is_some() || belt != [false, false]) {
            return refuse(
                "without driven_by".to_owned(),
                "ratio, belt_mm and pulley_mm need it",
            );
        }
        if pack != [self.reel.is_some(); 3] {
            return refuse(
                "not a whole reel".to_owned(),
                "reel, hub_mm, tape_um and length_m stand together",
            );
        }
        Ok(())
    }
}
