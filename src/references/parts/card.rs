//! A card that lists the rotating parts of a machine, as text of TOML: what is
//! known of the rate of each, and how well. Files are the business of the
//! records.

use serde::{Deserialize, Serialize};

use super::rates::{self, PartRate};
use crate::readings::Position;
use crate::references::card_text::{self, CardTextError, checked_between, checked_name};
use crate::units::Percent;

/// Version of the cards that are written.
const VERSION: u32 = 1;

/// More parts than any machine has that turn.
const MOST_PARTS: usize = 64;
/// 95 % of a rate whose tolerance nobody has written down, in percent; common
/// practice, no source.
const USUAL_TOLERANCE_PERCENT: f64 = 2.0;
/// Turns a second of anything in a tape machine, wide of all.
const RATES: [f64; 2] = [0.01, 500.0];
/// A tolerance beyond this says nothing, below it nothing can be known.
const TOLERANCES_PERCENT: [f64; 2] = [0.01, 60.0];
/// Speeds of tape, cm/s.
const SPEEDS_CM_S: [f64; 2] = [0.5, 200.0];
/// Lengths in a machine, mm.
const LENGTHS_MM: [f64; 2] = [0.1, 5000.0];

/// A card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartsCard {
    /// Version of the card's format.
    #[serde(rename = "parts_card")]
    version: u32,
    /// What the machine is called.
    pub name: String,
    /// Nominal speed that the rates are for; needed only where a diameter or a
    /// reel stands.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub speed_cm_s: Option<f64>,
    /// Of no machine but of a kind of them: wide tolerances, a hint only.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub generic: bool,
    /// The parts.
    #[serde(default, rename = "part", skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<Part>,
}

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
    pub fn tolerance(&self) -> f64 {
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

    fn check(&self) -> Result<(), CardTextError> {
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

impl PartsCard {
    /// Without any part as yet.
    pub fn new(name: &str) -> Self {
        Self {
            version: VERSION,
            name: name.trim().to_owned(),
            speed_cm_s: None,
            generic: false,
            parts: Vec::new(),
        }
    }

    /// Reads a card.
    pub fn from_toml(text: &str) -> Result<Self, CardTextError> {
        card_text::read::<Self>(text, "parts_card", VERSION)?.checked()
    }

    /// The same card if everything on it can be.
    pub fn checked(self) -> Result<Self, CardTextError> {
        checked_name("name", &self.name)?;
        if let Some(speed) = self.speed_cm_s {
            checked_between("speed_cm_s", speed, SPEEDS_CM_S)?;
        }
        if self.parts.len() > MOST_PARTS {
            let found = format!("{} parts long", self.parts.len());
            return Err(CardTextError::impossible(
                "the card",
                found,
                "64 are the most",
            ));
        }
        for (nth, part) in self.parts.iter().enumerate() {
            part.check()?;
            if self.parts[..nth].iter().any(|it| it.name == part.name) {
                let found = format!("there twice: \"{}\"", part.name);
                return Err(CardTextError::impossible("a part", found, "rename one"));
            }
        }
        rates::of(&self, None)?;
        Ok(self)
    }

    /// As text.
    pub fn to_toml(&self) -> Result<String, toml::ser::Error> {
        let body = toml::to_string(self)?;
        Ok(format!(
            "# The parts of a machine that turn, and how often at its nominal speed.\n{body}"
        ))
    }

    /// The part of this name.
    pub fn part(&self, name: &str) -> Option<&Part> {
        self.parts.iter().find(|it| it.name == name)
    }

    /// Rates at nominal speed, a part each, in the card's order; where on the
    /// tape, if somebody has said.
    pub fn rates(&self, place: Option<Position>) -> Vec<PartRate> {
        // What was read has been checked by the same reckoning.
        rates::of(self, place).unwrap_or_default()
    }
}
