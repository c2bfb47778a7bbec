//! A speed for the one who owns the machine: no word of the trade, and no more
//! than may be said.

use crate::readings::{Verdict, Way};
use crate::records::{Label, Snapshot};
use crate::report::comparison;
use crate::report::numbers::significant;
use crate::report::words::counted;

/// Seconds of a song.
const SONG_S: f64 = 180.0;

/// What is said of a speed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Plainly {
    /// In a few words.
    pub short: String,
    /// In a sentence's part.
    pub long: String,
    /// Percent from right and 95 % of it; `None` where no verdict may be had.
    pub percent: Option<(f64, Option<f64>)>,
}

/// What is said of this one, in the band that was in force.
pub(super) fn of(snapshot: &Snapshot) -> Plainly {
    let verdict = comparison::verdict(snapshot);
    let unjudged = |why: &str| Plainly {
        short: "not judged".to_owned(),
        long: format!("not judged: {why}"),
        percent: None,
    };
    let Some(speed) = &snapshot.measurement.speed else {
        return Plainly {
            short: "not measured".to_owned(),
            long: "no speed was measured".to_owned(),
            percent: None,
        };
    };
    let off = significant(speed.deviation.0.abs(), 2).unwrap_or_default();
    let way = match verdict.way(speed.deviation, speed.uncertainty) {
        Some(Way::Slow) => "slow",
        Some(Way::Fast) => "fast",
        None => "",
    };
    let is_off = format!("{off} % too {way}");
    let song = song(speed.deviation.ratio(), snapshot.label == Label::Before);
    let (short, long) = match verdict {
        Verdict::NoReading | Verdict::Moving | Verdict::Moved | Verdict::Settling => {
            return unjudged("the speed was moved while it was measured");
        }
        Verdict::TooShort => return unjudged("it was measured for too short a time"),
        Verdict::WhichTone => return unjudged("nobody has said which tone the tape carries"),
        Verdict::MadeHere => {
            return unjudged(
                "the tape was recorded on this very machine, where it sounds right at any speed",
            );
        }
        Verdict::InTolerance => ("right".to_owned(), "right".to_owned()),
        Verdict::RightByThisTape => (
            "right by the tape used".to_owned(),
            "right by the test tape that was used".to_owned(),
        ),
        Verdict::TooCloseToSay => (
            "at the edge of right".to_owned(),
            "at the edge of what counts as right, too close to say".to_owned(),
        ),
        Verdict::OutByThisTape => (
            format!("{is_off} by the tape used"),
            format!("{is_off} by the test tape that was used: {song}"),
        ),
        Verdict::Out => (is_off.clone(), format!("{is_off}: {song}")),
    };
    let uncertainty = speed.stated_uncertainty().map(|it| it.0);
    Plainly {
        short,
        long,
        percent: Some((speed.deviation.0, uncertainty)),
    }
}

/// What is not known where a verdict holds by one tape only.
pub(super) const UNKNOWN_TAPE: &str = "How true it is, nobody has said.";

/// The verdict holds by the tape that was played, and no further.
pub(super) fn is_by_tape(snapshot: &Snapshot) -> bool {
    use Verdict::{OutByThisTape, RightByThisTape};
    matches!(
        comparison::verdict(snapshot),
        OutByThisTape | RightByThisTape
    )
}

/// What a wrong speed does to a song, or did.
fn song(ratio: f64, is_past: bool) -> String {
    let longer = SONG_S / ratio - SONG_S;
    let than = if longer > 0.0 { "longer" } else { "less" };
    let by = match longer.abs().round() {
        short if short < 1.0 => "less than a second".to_owned(),
        whole => counted(whole as u64, "second", "seconds"),
    };
    let by = match (by.starts_with("less"), than) {
        (true, "less") => "hardly".to_owned(),
        _ => by,
    };
    let lasts = if is_past { "lasted" } else { "lasts" };
    format!("a song of three minutes {lasts} {by} {than}")
}

/// Whether notes waver less or more than before; `None` where that cannot be
/// said.
pub(super) fn wavering(before: &Snapshot, after: &Snapshot) -> Option<&'static str> {
    let [was, is] = [before, after].map(|it| it.measurement.flutter);
    let change = is.weighted_two_sigma?.0 - was.weighted_two_sigma?.0;
    let known = comparison::combined(
        was.weighted_two_sigma_uncertainty,
        is.weighted_two_sigma_uncertainty,
    )?;
    Some(if change.abs() <= known {
        "Held notes waver as much as before."
    } else if change < 0.0 {
        "Held notes waver less than before."
    } else {
        "Held notes waver more than before."
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{Caution, CautionCode, SpeedFigures};
    use crate::report::sample;
    use crate::units::Percent;

    fn kept(deviation: f64, with_reference: Option<f64>) -> Snapshot {
        let mut snapshot = Snapshot::new(Label::Before, "line in", sample::measurement());
        let speed = snapshot.measurement.speed.as_mut().expect("a speed");
        *speed = SpeedFigures {
            deviation: Percent(deviation),
            uncertainty: Some(Percent(0.01)),
            uncertainty_with_reference: with_reference.map(Percent),
            ..*speed
        };
        snapshot
    }

    #[test]
    fn a_song_tells_how_wrong_it_is() {
        for (deviation, said) in [
            (
                -1.2,
                "1.2 % too slow: a song of three minutes lasted 2 seconds longer",
            ),
            (
                3.0,
                "3 % too fast: a song of three minutes lasted 5 seconds less",
            ),
            (
                -0.7,
                "0.7 % too slow: a song of three minutes lasted one second longer",
            ),
            (
                -0.24,
                "0.24 % too slow: a song of three minutes lasted less than a second longer",
            ),
            (
                0.24,
                "0.24 % too fast: a song of three minutes lasted hardly less",
            ),
        ] {
            let mut snapshot = kept(deviation, Some(0.02));
            snapshot.tolerance = Some(Percent(0.1));
            assert_eq!(of(&snapshot).long, said);
        }
    }

    #[test]
    fn no_more_is_said_than_is_known() {
        assert_eq!(of(&kept(0.1, Some(0.1))).short, "right");
        assert_eq!(of(&kept(0.1, None)).short, "right by the tape used");
        assert!(of(&kept(-1.2, None)).long.contains("by the test tape"));
        assert!(is_by_tape(&kept(-1.2, None)) && !is_by_tape(&kept(-1.2, Some(0.1))));
        assert_eq!(of(&kept(0.45, Some(0.1))).short, "at the edge of right");
        let mut here = kept(-1.2, None);
        here.measurement.tell_recorded_here();
        let mut which = kept(-1.2, None);
        let doubt = Caution::told(CautionCode::ReferenceAmbiguous, "two tones");
        which.measurement.cautions.push(doubt);
        for unjudged in [here, which] {
            let said = of(&unjudged);
            assert!(
                said.short == "not judged" && said.percent.is_none(),
                "{said:?}"
            );
            assert!(!said.long.contains("slow"), "{said:?}");
        }
        let mut none = kept(0.0, None);
        none.measurement = sample::without_tone();
        assert_eq!(of(&none).short, "not measured");
    }
}
