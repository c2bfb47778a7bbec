//! A card that goes with a reference tape: what is on it, how far its own speed
//! is off, and how that was found out. Text of TOML; files are the business of
//! the records.

use serde::{Deserialize, Serialize};

use super::card_text::{self, CardTextError, checked_between, checked_name};
use super::{Reference, same_machine};
use crate::readings::ReferenceError;
use crate::units::Percent;

/// Version of the cards that are written.
const VERSION: u32 = 1;

/// No tape is further off, in percent.
const FURTHEST_PERCENT: f64 = 25.0;
/// A ± beyond this says nothing, in percent.
const WIDEST_PERCENT: f64 = 25.0;

/// A card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TapeCard {
    /// Version of the card's format.
    #[serde(rename = "tape_card")]
    version: u32,
    /// What the tape is called.
    pub name: String,
    /// What it carries, as `--reference` takes it; `None` where that is said
    /// each time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carries: Option<String>,
    /// The machine it was recorded on, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recorded_on: Option<String>,
    /// Its own speed error.
    pub speed: OwnSpeed,
}

/// How far a tape's own speed is off.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OwnSpeed {
    /// Positive plays high on a true machine, in percent.
    pub error_percent: f64,
    /// 95 %, in percent.
    pub uncertainty_percent: f64,
    /// How it was found out.
    pub found: Found,
    /// The certificate's words, or the trusted machine's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// The day on which it was found or typed in, as 2026-11-26.
    pub on: String,
    /// Of the trusted machine: its own error and ±, in percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine_percent: Option<[f64; 2]>,
    /// What was read on it and its ±, in percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_percent: Option<[f64; 2]>,
}

/// How a tape's own error was found out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Found {
    /// From the maker's certificate or data sheet.
    Certificate,
    /// Measured on a machine that is trusted.
    Measured,
}

/// A speed in percent with its ± at 95 %.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WithUncertainty {
    /// The value.
    pub value: Percent,
    /// Its ±.
    pub uncertainty: Percent,
}

impl TapeCard {
    /// From a certificate; `on` is the day, `by` the certificate's words.
    pub fn certified(name: &str, own: WithUncertainty, by: Option<String>, on: String) -> Self {
        Self::of(
            name,
            OwnSpeed {
                error_percent: own.value.0,
                uncertainty_percent: own.uncertainty.0,
                found: Found::Certificate,
                by,
                on,
                machine_percent: None,
                read_percent: None,
            },
        )
    }

    /// From what was read of it on a machine whose own error is known.
    ///
    /// A machine that is fast by m plays a tape that plays high by e at
    /// (1 + m)(1 + e) − 1, so e = (1 + read) ÷ (1 + m) − 1; the ± of both add
    /// in quadrature (GUM, JCGM 100:2008, 5.1.2: sensitivities of 1 but for
    /// some percent).
    pub fn measured(
        name: &str,
        read: WithUncertainty,
        machine: WithUncertainty,
        on_machine: Option<String>,
        on: String,
    ) -> Self {
        let own = Percent::from_ratio(read.value.ratio() / machine.value.ratio());
        Self::of(
            name,
            OwnSpeed {
                error_percent: rounded(own.0),
                uncertainty_percent: rounded(read.uncertainty.0.hypot(machine.uncertainty.0)),
                found: Found::Measured,
                by: on_machine,
                on,
                machine_percent: Some([machine.value.0, machine.uncertainty.0]),
                read_percent: Some([rounded(read.value.0), rounded(read.uncertainty.0)]),
            },
        )
    }

    fn of(name: &str, speed: OwnSpeed) -> Self {
        Self {
            version: VERSION,
            name: name.trim().to_owned(),
            carries: None,
            recorded_on: None,
            speed,
        }
    }

    /// Reads a card.
    pub fn from_toml(text: &str) -> Result<Self, CardTextError> {
        card_text::read::<Self>(text, "tape_card", VERSION)?.checked()
    }

    /// The same card if everything in it can be.
    pub fn checked(self) -> Result<Self, CardTextError> {
        checked_name("name", &self.name)?;
        let own = &self.speed;
        let error = [-FURTHEST_PERCENT, FURTHEST_PERCENT];
        checked_between("error_percent", own.error_percent, error)?;
        let around = [0.0, WIDEST_PERCENT];
        checked_between("uncertainty_percent", own.uncertainty_percent, around)?;
        for (key, pair) in [
            ("machine_percent", own.machine_percent),
            ("read_percent", own.read_percent),
        ] {
            if let Some([value, uncertainty]) = pair {
                checked_between(key, value, error)?;
                checked_between(&format!("± in {key}"), uncertainty, around)?;
            }
        }
        if let Some(carries) = self.carries.as_deref()
            && carries.parse::<Reference>().is_err()
        {
            let found = format!("\"{carries}\"");
            let wanted = "write it as for --reference, tone:3150";
            return Err(CardTextError::impossible("carries", found, wanted));
        }
        Ok(self)
    }

    /// As text.
    pub fn to_toml(&self) -> Result<String, toml::ser::Error> {
        let body = toml::to_string(self)?;
        Ok(format!(
            "# A reference tape: what it carries and how far its own speed is off.\n{body}"
        ))
    }

    /// What it carries, where it says so.
    pub fn reference(&self) -> Option<Reference> {
        self.carries.as_deref()?.parse().ok()
    }

    /// Whether it was recorded on the machine of this name; see
    /// [`same_machine`].
    pub fn is_recorded_on(&self, machine: Option<&str>) -> bool {
        same_machine(self.recorded_on.as_deref(), machine)
    }

    /// What it does to readings of a machine of this name.
    pub fn reference_error(&self, machine: Option<&str>) -> ReferenceError {
        let recorded_here = self.is_recorded_on(machine);
        ReferenceError {
            error: Percent(self.speed.error_percent),
            uncertainty: (!recorded_here).then_some(Percent(self.speed.uncertainty_percent)),
            home_made: false,
            recorded_here,
        }
    }
}

/// To a ten-thousandth of a percent: more digits say nothing.
fn rounded(percent: f64) -> f64 {
    (percent * 1e4).round() / 1e4
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(value: f64, uncertainty: f64) -> WithUncertainty {
        WithUncertainty {
            value: Percent(value),
            uncertainty: Percent(uncertainty),
        }
    }

    fn card() -> TapeCard {
        let mut card = TapeCard::measured(
            "tone tape 3",
            with(0.5, 0.03),
            with(0.2, 0.04),
            Some("deck 1".to_owned()),
            "2026-11-26".to_owned(),
        );
        card.carries = Some("tone:3150".to_owned());
        card.recorded_on = Some("Portable 12".to_owned());
        card
    }

    #[test]
    fn the_trusted_machines_own_error_is_taken_out_and_its_share_put_in() {
        let own = card().speed;
        // 1.005 ÷ 1.002 − 1 = 0.2994 %; √(0.03² + 0.04²) = 0.05.
        assert!((own.error_percent - 0.2994).abs() < 1e-9, "{own:?}");
        assert!((own.uncertainty_percent - 0.05).abs() < 1e-9, "{own:?}");
    }

    #[test]
    fn what_is_written_is_read_back() {
        let text = card().to_toml().unwrap();
        assert_eq!(TapeCard::from_toml(&text), Ok(card()), "{text}");
        assert_eq!(card().reference(), Some("tone:3150".parse().unwrap()));
    }

    #[test]
    fn damage_is_told_with_its_line() {
        let text = card().to_toml().unwrap();
        let unknown = text.replace("uncertainty_percent", "about_percent");
        let broken = text.replace("error_percent = ", "error_percent = x");
        for (text, says) in [
            (unknown.as_str(), "about_percent"),
            (broken.as_str(), "line "),
            ("hello", "line 1"),
            ("", "tape_card"),
        ] {
            let error = TapeCard::from_toml(text).expect_err(text).to_string();
            assert!(error.contains(says), "{error}");
        }
        let newer = text.replace("tape_card = 1", "tape_card = 9");
        assert_eq!(TapeCard::from_toml(&newer), Err(CardTextError::Newer(9)));
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let text = card().to_toml().unwrap();
        for (from, to) in [
            ("error_percent = 0.2994", "error_percent = 90.0"),
            ("uncertainty_percent = 0.05", "uncertainty_percent = -1.0"),
            ("tone:3150", "tune:3150"),
            ("name = \"tone tape 3\"", "name = \"\""),
        ] {
            let wrong = text.replace(from, to);
            assert_ne!(wrong, text, "{from}");
            let error = TapeCard::from_toml(&wrong).expect_err(to);
            assert!(matches!(error, CardTextError::Impossible { .. }), "{error}");
        }
    }

    #[test]
    fn a_tape_recorded_on_the_machine_has_no_uncertainty_to_offer() {
        let here = card().reference_error(Some(" portable 12"));
        assert!(here.recorded_here && here.uncertainty.is_none());
        let elsewhere = card().reference_error(Some("deck 4"));
        assert!(!elsewhere.recorded_here && elsewhere.uncertainty == Some(Percent(0.05)));
        assert!(!card().reference_error(None).recorded_here);
    }
}
