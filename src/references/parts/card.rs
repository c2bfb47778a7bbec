//! A card that lists the rotating parts of a machine, as text of TOML: what is
//! known of the rate of each, and how well. Files are the business of the
//! records.

use serde::{Deserialize, Serialize};

use super::part::Part;
use super::rates::{self, PartRate};
use crate::readings::Position;
use crate::references::card_text::{self, CardTextError, checked_between, checked_name};

/// Version of the cards that are written.
const VERSION: u32 = 1;

/// More parts than any machine has that turn.
const MOST_PARTS: usize = 64;
/// Speeds of tape, cm/s.
const SPEEDS_CM_S: [f64; 2] = [0.5, 200.0];

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
        rates::of(&self.parts, self.speed_cm_s, None)?;
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
        rates::of(&self.parts, self.speed_cm_s, place).unwrap_or_default()
    }
}
