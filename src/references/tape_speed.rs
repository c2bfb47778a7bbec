//! Tape speeds as people name them, and the order in which a machine with
//! several is set.

use std::fmt;
use std::str::FromStr;

use super::choice::Reference;

/// The usual speeds in cm/s: 15/32 to 30 inches a second, each half of the
/// next, and those of small cassettes. 4.76 cm/s: IEC 60094-7; the rest from
/// memory, common practice.
const USUAL_CM_S: [f64; 7] = [1.2, 2.38, 4.76, 9.53, 19.05, 38.1, 76.2];

/// People round: 9.5, 19 and 4.8 mean 9.53, 19.05 and 4.76 cm/s. What is this
/// near to a usual speed is that.
const SAME: f64 = 0.011;

/// Slower and faster than any tape runs, in cm/s.
const RANGE_CM_S: [f64; 2] = [0.5, 200.0];

/// An inch in centimetres.
const INCH_CM: f64 = 2.54;

/// A nominal tape speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TapeSpeed {
    /// In cm/s.
    pub cm_s: f64,
}

/// A speed of a machine, and what its test tape carries where that differs
/// from the others.
#[derive(Clone, Debug, PartialEq)]
pub struct SpeedTarget {
    /// The speed.
    pub speed: TapeSpeed,
    /// Its own reference; `None`: the one of all.
    pub reference: Option<Reference>,
}

/// Why a speed was not understood.
#[derive(Debug, thiserror::Error, PartialEq)]
#[allow(missing_docs)] // Each sentence says what it is.
pub enum SpeedError {
    #[error(
        "\"{0}\" is no tape speed; write it in cm/s, such as 9.53, or in inches a second, such as 3.75ips or \"3 3/4 ips\""
    )]
    Unknown(String),
    #[error("{0} cm/s is no speed of a tape; it must lie between 0.5 and 200 cm/s")]
    OutOfRange(f64),
    #[error(
        "\"{0}\" is no tone for a speed; write it in Hz from 100 to 20000, such as 9.53=3150, or 9.53=auto"
    )]
    Tone(String),
}

impl SpeedTarget {
    /// In the order of the work: the highest speed first, since what is set
    /// there often moves the lower ones, and the lower ones less so the
    /// higher. Common practice, no source; a maker's manual that says
    /// otherwise is right.
    pub fn in_order_of_work(targets: &mut [Self]) {
        targets.sort_by(|one, other| other.speed.cm_s.total_cmp(&one.speed.cm_s));
    }
}

impl FromStr for TapeSpeed {
    type Err = SpeedError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let unknown = || SpeedError::Unknown(text.to_owned());
        let said = text.trim().to_lowercase();
        let inches = ["ips", "in/s", "\""]
            .iter()
            .find_map(|unit| said.strip_suffix(unit));
        let metric = said.strip_suffix("cm/s").unwrap_or(&said);
        let cm_s = match inches {
            Some(number) => mixed_number(number).ok_or_else(unknown)? * INCH_CM,
            None => metric.trim().parse().map_err(|_| unknown())?,
        };
        if !(RANGE_CM_S[0]..=RANGE_CM_S[1]).contains(&cm_s) {
            return Err(SpeedError::OutOfRange(cm_s));
        }
        let usual = USUAL_CM_S
            .into_iter()
            .find(|usual| (cm_s / usual - 1.0).abs() < SAME);
        Ok(Self {
            cm_s: usual.unwrap_or(cm_s),
        })
    }
}

/// `7.5`, `15/16`, `1 7/8` or `1-7/8`.
fn mixed_number(text: &str) -> Option<f64> {
    let text = text.trim();
    let Some((before, below)) = text.split_once('/') else {
        return text.parse().ok();
    };
    let (whole, above) = match before.rsplit_once([' ', '-']) {
        Some((whole, above)) => (whole.trim().parse::<u32>().ok()?, above),
        None => (0, before),
    };
    let above: u32 = above.trim().parse().ok()?;
    let below: u32 = below.trim().parse().ok().filter(|below| *below > 0)?;
    Some(f64::from(whole) + f64::from(above) / f64::from(below))
}

impl FromStr for SpeedTarget {
    type Err = SpeedError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let (speed, tone) = match text.split_once('=') {
            Some((speed, tone)) => (speed, Some(tone.trim())),
            None => (text, None),
        };
        let reference = tone.map(|tone| {
            let wrong = |_| SpeedError::Tone(tone.to_owned());
            format!("tone:{tone}").parse::<Reference>().map_err(wrong)
        });
        Ok(Self {
            speed: speed.parse()?,
            reference: reference.transpose()?,
        })
    }
}

impl fmt::Display for TapeSpeed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} cm/s", self.cm_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Hertz;

    #[test]
    fn usual_names_mean_the_usual_speeds() {
        for (text, cm_s) in [
            ("9.53", 9.53),
            ("9.5", 9.53),
            ("19 cm/s", 19.05),
            ("4.8", 4.76),
            ("4.75", 4.76),
            ("2.4", 2.38),
            ("38", 38.1),
            ("7.5ips", 19.05),
            ("3 3/4 ips", 9.53),
            ("1-7/8 in/s", 4.76),
            ("15/16 IPS", 2.38),
            ("30\"", 76.2),
            // No usual one: as it was said.
            ("5.5", 5.5),
        ] {
            let speed: TapeSpeed = text.parse().expect(text);
            assert!((speed.cm_s - cm_s).abs() < 1e-9, "{text}: {speed}");
        }
    }

    #[test]
    fn a_speed_may_have_a_tone_of_its_own() {
        let target: SpeedTarget = "9.5=1575".parse().expect("a speed");
        assert_eq!(target.reference, Some(Reference::Tone(Hertz(1575.0))));
        let target: SpeedTarget = "9.5".parse().expect("a speed");
        assert_eq!(target.reference, None);
        let error = "9.5=loud".parse::<SpeedTarget>().expect_err("no tone");
        assert_eq!(error, SpeedError::Tone("loud".to_owned()));
    }

    #[test]
    fn nonsense_is_refused_with_a_way_out() {
        for text in ["", "fast", "NaN", "0", "-9.5", "1e9", "7/0 ips", "ips"] {
            let error = text.parse::<TapeSpeed>().expect_err(text).to_string();
            assert!(error.contains("cm/s"), "{error}");
        }
    }

    #[test]
    fn the_highest_speed_comes_first() {
        let mut targets: Vec<SpeedTarget> = ["4.76", "19.05", "9.53"]
            .map(|text| text.parse().expect(text))
            .into();
        SpeedTarget::in_order_of_work(&mut targets);
        let order: Vec<f64> = targets.iter().map(|it| it.speed.cm_s).collect();
        assert_eq!(order, [19.05, 9.53, 4.76]);
    }
}
