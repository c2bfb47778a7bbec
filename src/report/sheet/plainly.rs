//! A speed for the one who owns the machine: no word of the trade, and no more
//! than may be said.

use crate::readings::{ReferenceKind, Verdict, Way};
use crate::records::{Label, Snapshot};
use crate::references::Tolerance;
use crate::report::comparison;
use crate::report::numbers::significant;
use crate::report::words::{best_uncertainty, counted, with_uncertainty};

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

/// What is said of this one in a band.
pub(super) fn of(snapshot: &Snapshot, band: Tolerance) -> Plainly {
    let verdict = comparison::verdict_within(snapshot, band);
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
    let uncertainty = best_uncertainty(speed);
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
            format!("right by the {}", by_what(snapshot)[1]),
        ),
        Verdict::TooCloseToSay if uncertainty.is_some_and(|it| it < band.half_width.0) => (
            "at the edge of right".to_owned(),
            "at the edge of what counts as right, too close to say".to_owned(),
        ),
        // So wide that it may be right as well as wrong by much.
        Verdict::TooCloseToSay => {
            let figure = with_uncertainty(speed.deviation.0, uncertainty, true);
            let said = format!("known too poorly to say: {figure} %");
            (said.clone(), said)
        }
        Verdict::OutByThisTape => (
            format!("{is_off} by the tape used"),
            format!(
                "{is_off} by the {}; if that is true, {song}",
                by_what(snapshot)[1]
            ),
        ),
        Verdict::Out => (is_off.clone(), format!("{is_off}: {song}")),
    };
    Plainly {
        short,
        long,
        percent: Some((speed.deviation.0, uncertainty)),
    }
}

/// What is not known where a verdict holds by one tape only.
pub(super) const UNKNOWN_TAPE: &str = "Nobody has said how true that is.";

/// The verdict holds by the tape that was played, and no further.
pub(super) fn is_by_tape(snapshot: &Snapshot, band: Tolerance) -> bool {
    use Verdict::{OutByThisTape, RightByThisTape};
    matches!(
        comparison::verdict_within(snapshot, band),
        OutByThisTape | RightByThisTape
    )
}

/// What it was measured by: as a head, and in a sentence.
pub(super) fn by_what(snapshot: &Snapshot) -> [&'static str; 2] {
    match snapshot.measurement.conditions.kind {
        ReferenceKind::Tone => ["Test tape", "test tape that was used"],
        ReferenceKind::Note => ["Note", "note that was played"],
        ReferenceKind::Passage => ["Passage", "passage that was timed"],
        ReferenceKind::Marks => ["Marks", "marks that were timed"],
        ReferenceKind::Recording => ["Copy", "copy that it was compared with"],
    }
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
        "No change can be told in how held notes waver."
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

    fn in_own_band(snapshot: &Snapshot) -> Plainly {
        of(snapshot, comparison::tolerance(snapshot))
    }

    /// In a band of 0.5 %.
    #[test]
    fn whatever_was_measured_no_more_is_claimed() {
        for (deviation, with_reference, short) in [
            (0.001, Some(0.02), "right"),
            (0.001, None, "right by the tape used"),
            (0.49, Some(0.02), "at the edge of right"),
            (-0.7, Some(0.3), "at the edge of right"),
            // The ± of a home-made tape.
            (-2.8, Some(3.0), "known too poorly to say: -2.8 ±3.0 %"),
            (0.001, Some(3.0), "known too poorly to say: 0.0 ±3.0 %"),
            (-0.2, Some(0.5), "known too poorly to say: -0.20 ±0.50 %"),
            (-3.6, Some(3.0), "3.6 % too slow"),
            (30.0, Some(0.1), "30 % too fast"),
            (30.0, None, "30 % too fast"),
            (-30.0, None, "30 % too slow"),
            (-1.2, None, "1.2 % too slow by the tape used"),
        ] {
            let said = in_own_band(&kept(deviation, with_reference));
            assert_eq!(said.short, short, "{deviation} {with_reference:?}");
            let expected = with_reference.unwrap_or(0.01);
            assert_eq!(said.percent, Some((deviation, Some(expected))));
        }
        let mut unknown = kept(-1.2, None);
        let speed = unknown.measurement.speed.as_mut().expect("a speed");
        speed.uncertainty = None;
        let said = in_own_band(&unknown);
        assert_eq!((&*said.short, said.percent), ("not judged", None));
    }

    #[test]
    fn both_are_judged_in_the_band_asked_for() {
        let wide = Tolerance::of_half_width(Percent(1.0));
        assert_eq!(of(&kept(0.8, Some(0.1)), wide).short, "right");
        assert_eq!(in_own_band(&kept(0.8, Some(0.1))).short, "0.8 % too fast");
    }

    #[test]
    fn it_is_called_what_it_was_measured_by() {
        let mut timed = kept(-1.2, None);
        timed.measurement.conditions.kind = ReferenceKind::Passage;
        let said = in_own_band(&timed).long;
        let expected = "1.2 % too slow by the passage that was timed; if that is true, a song of \
                        three minutes lasted 2 seconds longer";
        assert_eq!(said, expected);
        timed.measurement.speed = kept(0.1, None).measurement.speed;
        let said = in_own_band(&timed).long;
        assert_eq!(said, "right by the passage that was timed");
    }

    #[test]
    fn what_is_within_the_uncertainty_is_no_sameness() {
        let wavering_by = |percent, known| {
            let mut snapshot = kept(0.0, None);
            let flutter = &mut snapshot.measurement.flutter;
            flutter.weighted_two_sigma = Some(Percent(percent));
            flutter.weighted_two_sigma_uncertainty = known;
            snapshot
        };
        let of = |was, is, known: Option<f64>| {
            let known = known.map(Percent);
            wavering(&wavering_by(was, known), &wavering_by(is, known))
        };
        let untold = Some("No change can be told in how held notes waver.");
        assert_eq!(of(0.10, 0.05, Some(0.08)), untold);
        assert_eq!(
            of(0.10, 0.05, Some(0.01)),
            Some("Held notes waver less than before.")
        );
        assert_eq!(
            of(0.05, 0.10, Some(0.01)),
            Some("Held notes waver more than before.")
        );
        assert_eq!(of(0.10, 0.05, None), None);
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
            assert_eq!(in_own_band(&snapshot).long, said);
        }
    }

    #[test]
    fn no_more_is_said_than_is_known() {
        let said = in_own_band(&kept(-1.2, None)).long;
        assert!(said.contains("by the test tape"), "{said}");
        let usual = Tolerance::default();
        let [unknown, known] = [None, Some(0.1)].map(|it| kept(-1.2, it));
        assert!(is_by_tape(&unknown, usual) && !is_by_tape(&known, usual));
        let mut here = kept(-1.2, None);
        here.measurement.tell_recorded_here();
        let mut which = kept(-1.2, None);
        let doubt = Caution::told(CautionCode::ReferenceAmbiguous, "two tones");
        which.measurement.cautions.push(doubt);
        for unjudged in [here, which] {
            let said = in_own_band(&unjudged);
            assert!(
                said.short == "not judged" && said.percent.is_none(),
                "{said:?}"
            );
            assert!(!said.long.contains("slow"), "{said:?}");
        }
        let mut none = kept(0.0, None);
        none.measurement = sample::without_tone();
        assert_eq!(in_own_band(&none).short, "not measured");
    }
}
