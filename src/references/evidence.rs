//! Signs of a fault, gathered from what was measured: a closed set, in which the
//! rules of [`super::faults`] are written.

use serde::Deserialize;

use super::parts::{Naming, PartsCard};
use super::tolerance::{MachineClass, Tolerance};
use crate::readings::{
    Along, Caution, DriftReading, FlutterLine, FlutterLines, FlutterReading, LikelyPart,
    LineCourse, Measurement, MonoLoss, SweepVerdict, TwoChannels, Verdict, Warming,
};
use crate::units::Percent;

/// Wow ends and flutter begins here (common practice, no source).
const WOW_ENDS_HZ: f64 = 6.0;
/// A reel that makes more than this part of the weighted flutter is what is to
/// be seen to first. Practice.
const STRONG_SHARE: f64 = 0.5;
/// More than this part of a band's power is no line: it is none that matters.
const NO_LINE: f64 = 0.5;
/// A line of no card is no fault up to this part of the weighted flutter that
/// the class is allowed (practice): four alike add to half of it.
const USUAL_PART: f64 = 0.25;
/// Loss in mono from which the azimuth is worth a look, dB. Practice.
const AZIMUTH_LOSS_DB: f64 = 1.0;

/// A sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // the names say it; the sentences stand in `report/faults.rs`
pub enum Sign {
    Off,
    Steady,
    Drifting,
    Slowing,
    SlowerToEnd,
    FollowsSupply,
    HoldsSupply,
    NoTrimmer,
    NearEnd,
    WiperErratic,
    #[serde(rename = "line:capstan")]
    LineCapstan,
    #[serde(rename = "line:pinch roller")]
    LinePinchRoller,
    #[serde(rename = "line:belt")]
    LineBelt,
    #[serde(rename = "line:idler")]
    LineIdler,
    #[serde(rename = "line:reel")]
    LineReel,
    #[serde(rename = "line:motor")]
    LineMotor,
    #[serde(rename = "line:guide")]
    LineGuide,
    /// A part of none of these kinds.
    #[serde(rename = "line:other")]
    LineOther,
    /// Teeth.
    #[serde(rename = "line:mesh")]
    LineMesh,
    #[serde(rename = "line:reel_strong")]
    LineReelStrong,
    #[serde(rename = "line:mains")]
    LineMains,
    /// On no part of the card.
    #[serde(rename = "line:unknown")]
    LineUnknown,
    #[serde(rename = "line:unknown_slow")]
    LineUnknownSlow,
    /// There was no card.
    #[serde(rename = "line:no_card")]
    LineNoCard,
    #[serde(rename = "line:any")]
    LineAny,
    /// A second line of the same part, twice a turn.
    #[serde(rename = "harmonic:2")]
    Twice,
    /// A line at a motor's poles.
    Cogging,
    BroadSlow,
    BroadFast,
    Beating,
    RecordedHere,
    Dropouts,
    AzimuthOff,
}

/// A sign that is there.
#[derive(Clone, Debug, PartialEq)]
pub struct Evidence {
    /// Which.
    pub sign: Sign,
    /// Of this line, counted from 0.
    pub line: Option<usize>,
    /// Of this part of the card.
    pub part: Option<String>,
    /// How many times what is usual the line is; 1 for what is no line.
    pub times_usual: f64,
    /// Another part may be behind it as well.
    pub doubtful: bool,
}

impl Evidence {
    pub(super) fn of(sign: Sign) -> Self {
        Self {
            sign,
            line: None,
            part: None,
            times_usual: 1.0,
            doubtful: false,
        }
    }
}

/// All that may be a sign, as plain values; what is not known is left empty.
#[derive(Clone, Copy, Debug, Default)]
#[allow(missing_docs)] // the names say it
pub struct Situation<'a> {
    pub tolerance: Tolerance,
    pub verdict: Option<Verdict>,
    pub drift: Option<DriftReading>,
    pub along: Option<Along>,
    pub flutter: Option<&'a FlutterReading>,
    pub lines: Option<&'a FlutterLines>,
    /// That the lines were held against.
    pub card: Option<&'a PartsCard>,
    pub channels: Option<TwoChannels>,
    /// More of them than one now and then.
    pub dropouts: bool,
    pub recorded_here: bool,
    pub wiper: Option<SweepVerdict>,
    /// Somebody has said so.
    pub no_trimmer: bool,
    /// Whether the speed follows the supply voltage, where that was tried.
    pub follows_supply: Option<bool>,
}

impl<'a> Situation<'a> {
    /// Of what was measured as a whole.
    pub fn of(measurement: &'a Measurement, tolerance: Tolerance) -> Self {
        let alarming = |it: &Caution| matches!(it, Caution::Dropouts(_, true));
        Self {
            tolerance,
            verdict: Some(Verdict::of_measured(measurement, tolerance.half_width)),
            drift: measurement.drift,
            along: measurement.along,
            flutter: Some(&measurement.flutter),
            lines: measurement.lines.as_ref(),
            channels: measurement.channels,
            dropouts: measurement.cautions.iter().any(alarming),
            recorded_here: measurement.conditions.reference.recorded_here,
            ..Self::default()
        }
    }

    /// All signs that are there.
    pub fn evidence(&self) -> Vec<Evidence> {
        let mut signs = self.of_speed();
        signs.extend(self.of_the_rest());
        let mut evidence: Vec<Evidence> = signs.into_iter().map(Evidence::of).collect();
        if let Some(lines) = self.lines {
            for nth in 0..lines.lines.len() {
                evidence.extend(self.of_line(lines, nth));
            }
        }
        evidence
    }

    fn of_speed(&self) -> Vec<Sign> {
        let drift = self.drift.filter(|it| {
            let known = it.uncertainty_percent_per_minute;
            known.is_some_and(|known| it.percent_per_minute.abs() > known)
        });
        let slowing = drift.is_some_and(|it| it.percent_per_minute < 0.0);
        let warming = Warming::of(self.drift.as_ref(), self.tolerance.half_width);
        let sloping = self.along.filter(Along::is_sloping);
        let holds = [
            (Sign::Off, self.verdict.is_some_and(Verdict::is_out)),
            (Sign::Steady, warming == Warming::Warm),
            (Sign::Drifting, drift.is_some() && warming != Warming::Warm),
            (Sign::Slowing, slowing),
            (
                Sign::SlowerToEnd,
                sloping.is_some_and(|it| it.change.0 < 0.0),
            ),
            (Sign::FollowsSupply, self.follows_supply == Some(true)),
            (Sign::HoldsSupply, self.follows_supply == Some(false)),
        ];
        those(holds)
    }

    fn of_the_rest(&self) -> Vec<Sign> {
        let beats = |it: &FlutterLine| it.course == Some(LineCourse::ComesAndGoes);
        let [slow, fast] = self.broad();
        let is_lost = match self.channels.map(|it| it.mono_loss()) {
            Some(MonoLoss::By(loss)) => loss.0 < -AZIMUTH_LOSS_DB,
            Some(MonoLoss::BeyondHalfTurn) => true,
            // The wiring comes first.
            Some(MonoLoss::Inverted) | None => false,
        };
        let holds = [
            (Sign::NoTrimmer, self.no_trimmer),
            (Sign::NearEnd, self.wiper == Some(SweepVerdict::NearEnd)),
            (
                Sign::WiperErratic,
                self.wiper == Some(SweepVerdict::Erratic),
            ),
            (Sign::BroadSlow, slow),
            (Sign::BroadFast, fast),
            (
                Sign::Beating,
                self.lines.is_some_and(|it| it.lines.iter().any(beats)),
            ),
            (Sign::RecordedHere, self.recorded_here),
            (Sign::Dropouts, self.dropouts),
            (Sign::AzimuthOff, is_lost),
        ];
        those(holds)
    }

    /// Whether what is no line is by itself more than the class allows, below
    /// and above 6 Hz. Two-sigma of noise is about twice its RMS.
    fn broad(&self) -> [bool; 2] {
        let (Some(flutter), Some(lines)) = (self.flutter, self.lines) else {
            return [false; 2];
        };
        let allowed = weighted_allowed(self.tolerance).0;
        let too_much = flutter.weighted_two_sigma.is_some_and(|it| it.0 > allowed);
        let is_broad = |rms: Option<Percent>, no_line: f64| {
            let rest = rms.map(|rms| 2.0 * rms.0 * no_line.max(0.0).sqrt());
            too_much && no_line > NO_LINE && rest.is_some_and(|rest| rest > allowed)
        };
        [
            is_broad(flutter.wow_rms, lines.no_line_slow),
            is_broad(flutter.flutter_rms, lines.no_line_fast),
        ]
    }

    fn of_line(&self, lines: &FlutterLines, nth: usize) -> Vec<Evidence> {
        let line = &lines.lines[nth];
        let naming = Naming::of(lines, line);
        let named = || naming.parts().iter().copied();
        let usual = usual(named(), self.tolerance);
        let of = |sign, part: Option<&LikelyPart>| Evidence {
            line: Some(nth),
            part: part.map(|it| it.name.clone()),
            times_usual: line.peak.0 / usual.0.max(1e-6),
            doubtful: naming.parts().len() > 1 || matches!(naming, Naming::Perhaps(_)),
            ..Evidence::of(sign)
        };
        let mut found = vec![of(Sign::LineAny, None)];
        // Twice a turn counts beside once, however small it is.
        found.extend(
            named()
                .filter(|it| it.harmonic == 2)
                .map(|it| of(Sign::Twice, Some(it))),
        );
        if !is_unusual(line, named(), self.tolerance) {
            return found;
        }
        for part in named() {
            let of_part = of(self.kind_of(part), Some(part));
            if of_part.sign == Sign::LineReel && line.weighted_share > STRONG_SHARE {
                found.push(of(Sign::LineReelStrong, Some(part)));
            }
            if self.is_at_poles(part) {
                found.push(of(Sign::Cogging, Some(part)));
            }
            found.push(of_part);
        }
        match naming {
            Naming::Mains(_) => found.push(of(Sign::LineMains, None)),
            Naming::NoCard => found.push(of(Sign::LineNoCard, None)),
            Naming::NotOnCard | Naming::KeepsRate | Naming::MainsPerhaps(_) => {
                found.push(of(Sign::LineUnknown, None));
                let slow = line.hz.0 < WOW_ENDS_HZ;
                found.extend(slow.then(|| of(Sign::LineUnknownSlow, None)));
            }
            Naming::Part(_) | Naming::Perhaps(_) => {}
        }
        found
    }

    fn kind_of(&self, part: &LikelyPart) -> Sign {
        let on_card = self.card.and_then(|card| card.part(&part.name));
        if on_card.is_some_and(|it| it.teeth == Some(part.harmonic)) {
            return Sign::LineMesh;
        }
        kind_by_name(&part.name)
    }

    fn is_at_poles(&self, part: &LikelyPart) -> bool {
        let on_card = self.card.and_then(|card| card.part(&part.name));
        let poles = on_card.and_then(|it| it.poles);
        poles.is_some_and(|it| part.harmonic == it || part.harmonic == it.saturating_mul(2))
    }
}

/// Words in the name of a part that say its kind; the first that fits.
const KINDS: [(&str, Sign); 11] = [
    ("pinch", Sign::LinePinchRoller),
    ("pressure roller", Sign::LinePinchRoller),
    ("capstan", Sign::LineCapstan),
    ("flywheel", Sign::LineCapstan),
    ("belt", Sign::LineBelt),
    ("idler", Sign::LineIdler),
    ("reel", Sign::LineReel),
    ("hub", Sign::LineReel),
    ("spool", Sign::LineReel),
    ("motor", Sign::LineMotor),
    ("guide", Sign::LineGuide),
];

fn kind_by_name(name: &str) -> Sign {
    let name = name.to_lowercase();
    let kind = KINDS.iter().find(|(word, _)| name.contains(word));
    kind.map_or(Sign::LineOther, |(_, sign)| *sign)
}

/// A part of this name carries the tape, so its rate follows the pack.
pub fn is_reel(name: &str) -> bool {
    kind_by_name(name) == Sign::LineReel
}

fn those<const N: usize>(holds: [(Sign, bool); N]) -> Vec<Sign> {
    let there = holds.into_iter().filter(|(_, holds)| *holds);
    there.map(|(sign, _)| sign).collect()
}

/// Weighted flutter that the trade accepts of a class: portable 0.3, deck 0.1,
/// professional 0.05 % (common practice, no source); of a band that is no
/// class's, that of the next wider one.
pub fn weighted_allowed(tolerance: Tolerance) -> Percent {
    let wide_enough = |it: &MachineClass| it.tolerance().half_width.0 >= tolerance.half_width.0;
    let mut narrowest_first = MachineClass::ALL.into_iter().rev();
    match narrowest_first.find(wide_enough) {
        Some(MachineClass::Professional) => Percent(0.05),
        Some(MachineClass::Deck) => Percent(0.1),
        Some(MachineClass::Portable) | None => Percent(0.3),
    }
}

/// Up to which amplitude a line is no fault by itself: as the card says of the
/// part, else by the class of machine; where several parts may have made it, the
/// least of theirs.
pub fn usual<'a>(parts: impl IntoIterator<Item = &'a LikelyPart>, tolerance: Tolerance) -> Percent {
    let of_class = Percent(USUAL_PART * weighted_allowed(tolerance).0);
    let each = parts.into_iter().map(|it| it.usual.unwrap_or(of_class));
    each.min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or(of_class)
}

/// Larger than what is usual, beyond its ±.
pub fn is_unusual<'a>(
    line: &FlutterLine,
    parts: impl IntoIterator<Item = &'a LikelyPart>,
    tolerance: Tolerance,
) -> bool {
    line.peak.0 - line.peak_uncertainty.0 > usual(parts, tolerance).0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::references::parts::hand_made::{line, together};
    use crate::units::Decibels;

    fn signs(situation: &Situation<'_>) -> Vec<Sign> {
        situation.evidence().iter().map(|it| it.sign).collect()
    }

    fn drifting(percent_per_minute: f64, known: f64) -> Situation<'static> {
        Situation {
            drift: Some(DriftReading {
                percent_per_minute,
                uncertainty_percent_per_minute: Some(known),
                span: None,
            }),
            ..Situation::default()
        }
    }

    #[test]
    fn steady_is_said_only_where_the_drift_is_known_to_be_small() {
        // The band of a deck, ±0.5 %, allows 0.1 % a minute.
        let is_steady = |it| signs(&it).contains(&Sign::Steady);
        assert!(is_steady(drifting(0.01, 0.03)));
        assert!(is_steady(drifting(0.03, 0.01)));
        assert!(!is_steady(drifting(0.3, 0.5)), "the ± is too wide to say");
        assert!(!is_steady(drifting(-0.3, 0.1)));
        assert!(signs(&drifting(-0.3, 0.1)).contains(&Sign::Slowing));
    }

    fn part(name: &str, usual: f64) -> LikelyPart {
        LikelyPart {
            name: name.to_owned(),
            harmonic: 1,
            likelihood: 0.45,
            usual: Some(Percent(usual)),
        }
    }

    #[test]
    fn what_several_parts_may_have_made_is_usual_up_to_the_least_of_theirs() {
        let mut both = line(6.0, 0.06);
        both.parts = vec![part("capstan", 0.1), part("idler", 0.02)];
        let mut lines = together(vec![both]);
        lines.card = Some("bench".to_owned());
        let situation = Situation {
            lines: Some(&lines),
            ..Situation::default()
        };
        let found = situation.evidence();
        for sign in [Sign::LineCapstan, Sign::LineIdler] {
            let of_it = found.iter().find(|it| it.sign == sign);
            let times = of_it.map(|it| it.times_usual);
            assert!(times.is_some_and(|it| (it - 3.0).abs() < 1e-9), "{found:?}");
        }
    }

    #[test]
    fn a_head_is_off_where_treble_cancels_and_not_where_a_plug_is() {
        let is_off = |right_lags_us: f64, inverted: bool| {
            let situation = Situation {
                channels: Some(TwoChannels {
                    level_left: Decibels(-12.0),
                    level_right: Decibels(-12.0),
                    balance: Decibels(0.0),
                    balance_uncertainty: None,
                    right_lags_us,
                    right_lags_uncertainty_us: Some(0.1),
                    jitter_us: None,
                    ambiguous_by_us: None,
                    inverted,
                }),
                ..Situation::default()
            };
            signs(&situation).contains(&Sign::AzimuthOff)
        };
        assert!(!is_off(3.0, false) && is_off(20.0, false));
        // A whole turn at 10 kHz, where the formula comes back to no loss.
        assert!(is_off(100.0, false) && is_off(-100.0, false));
        assert!(!is_off(20.0, true), "the wiring comes first");
    }
}
