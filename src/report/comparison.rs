//! Two snapshots side by side, and what changed in words.

use jiff::tz::TimeZone;

use super::lines;
use super::lines_changed;
use super::listing::time;
use super::numbers::{beside_uncertainty, plain};
use super::supply;
use super::sweep::{self, Between, headline};
use super::words::{
    self, COLUMNS, NONE, band, best_uncertainty, cell, cut, padded, width, with_uncertainty,
    wrapped,
};
use crate::readings::{Measurement, SpeedFigures, Verdict, Way};
use crate::records::{BeforeAfter, Label, Snapshot};
use crate::references::Tolerance;
use crate::references::supply::{SAME_SUPPLY, SupplyJudgement, SupplyPoint};
use crate::units::{Percent, Seconds};

const NAME: usize = 28;
const COLUMN: usize = 25;

/// A row: what it is, and how it is read off a snapshot.
type Row = (&'static str, fn(&Snapshot) -> String);

const ROWS_OF_TAKING: [Row; 4] = [
    ("kept as", |s| plain(&s.label.to_string())),
    ("machine", |s| {
        s.machine.as_deref().map_or(NONE.to_owned(), plain)
    }),
    ("source", |s| plain(&s.source)),
    ("reference", |s| reference(&s.measurement)),
];

/// A row of what was measured, and what it follows.
type Measured = (&'static str, fn(&Snapshot) -> String, &'static str);

const ROWS: [Measured; 9] = [
    (
        "speed %",
        speed,
        "mean, from right speed; ± by JCGM 100:2008",
    ),
    ("band", |s| band(tolerance(s)), COMMON),
    (
        "verdict",
        |s| verdict(s).words().to_owned(),
        "the band and the ±",
    ),
    (
        "drift % a minute",
        |s| drift(&s.measurement),
        "slope of the speed; common practice",
    ),
    (
        "wow, 0.5–6 Hz, RMS %",
        |s| cell(s.measurement.flutter.wow_rms, None),
        COMMON,
    ),
    (
        "flutter, 6–100 Hz, RMS %",
        |s| cell(s.measurement.flutter.flutter_rms, None),
        COMMON,
    ),
    (
        "weighted, two-sigma %",
        |s| {
            let flutter = &s.measurement.flutter;
            cell(
                flutter.weighted_two_sigma,
                flutter.weighted_two_sigma_uncertainty,
            )
        },
        "follows IEC 60386 with Amendment 1, AES6",
    ),
    (
        "weighted, quasi-peak %",
        |s| {
            let flutter = &s.measurement.flutter;
            cell(flutter.weighted_peak, flutter.weighted_peak_uncertainty)
        },
        "follows IEC 60386, DIN 45507",
    ),
    (
        "signal-to-noise dB",
        |s| {
            let snr = s.measurement.signal.snr;
            snr.map_or(NONE.to_owned(), |snr| format!("{:.1}", snr.0))
        },
        "the tone against all else",
    ),
];

const COMMON: &str = "common practice";

/// A row that stands only where at least one of the two says something.
type RowIfSaid = (&'static str, fn(&Snapshot) -> Option<String>);

const ROWS_OF_CHANNELS: [RowIfSaid; 2] = [
    ("balance dB, left − right", |s| {
        let it = s.measurement.channels?;
        let known = it.balance_known().map(|known| known.0);
        Some(with_uncertainty(it.balance.0, known, true))
    }),
    ("right channel later, µs", |s| {
        let it = s.measurement.channels?;
        Some(with_uncertainty(it.right_lags_us, it.lag_known_us(), true))
    }),
];

const ROWS_OF_LINES: [RowIfSaid; 3] = [
    ("line, turns a second", |s| line(s, 0)),
    ("second line", |s| line(s, 1)),
    ("third line", |s| line(s, 2)),
];

const ROWS_IF_SAID: [RowIfSaid; 6] = [
    ("tape", |s| s.tape.as_deref().map(plain)),
    ("wiper at first", |s| {
        Some(headline(s.wiper_at_first.as_ref()?))
    }),
    ("wiper", |s| Some(headline(s.wiper.as_ref()?))),
    ("place on the tape", |s| Some(s.position?.name().to_owned())),
    ("speed and direction", |s| Some(s.run?.to_string())),
    ("supply V", |s| Some(s.supply_volts?.to_string())),
];

/// The two side by side, each under the number that the user calls it by.
/// Times are shown in `zone`.
pub fn side_by_side(
    earlier: (usize, &Snapshot),
    later: (usize, &Snapshot),
    zone: &TimeZone,
) -> String {
    let heads = [earlier.0, later.0].map(|it| it.to_string());
    beside("number", &heads, [earlier.1, later.1], zone)
}

/// The two side by side, each under what it is called; the earlier one first.
pub fn beside(
    called: &str,
    heads: &[String; 2],
    [earlier, later]: [&Snapshot; 2],
    zone: &TimeZone,
) -> String {
    let mut text = String::new();
    if earlier.simulated || later.simulated {
        text.push_str("SIMULATED: these figures are invented.\n");
    }
    let mut row = |name: &str, left: &str, right: &str| {
        let (left, right) = (cut(left, COLUMN), cut(right, COLUMN));
        let line = format!("{}{} {right}", padded(name, NAME), padded(&left, COLUMN));
        text.push_str(line.trim_end());
        text.push('\n');
    };
    row(called, &heads[0], &heads[1]);
    row("taken", &time(earlier, zone), &time(later, zone));
    let note: Row = ("note", |s| s.note.as_deref().map_or(NONE.to_owned(), plain));
    let measured = ROWS.map(|(name, read, _)| (name, read));
    for (name, read) in ROWS_OF_TAKING.into_iter().chain(measured).chain([note]) {
        row(name, &read(earlier), &read(later));
    }
    let if_said = ROWS_OF_LINES.into_iter().chain(ROWS_OF_CHANNELS);
    for (name, read) in if_said.chain(ROWS_IF_SAID) {
        let (left, right) = (read(earlier), read(later));
        if left.is_some() || right.is_some() {
            let shown = |said: Option<String>| said.unwrap_or(NONE.to_owned());
            row(name, &shown(left), &shown(right));
        }
    }
    text.push('\n');
    for sentence in changes(earlier, later) {
        text.push_str(&wrapped("", &sentence));
    }
    debug_assert!(text.lines().all(|line| width(line) <= COLUMNS));
    text
}

/// A figure of a snapshot and of another one, and what it follows.
pub(super) type Figure = [String; 4];

/// The figures of the two but for the lines, a row each: name, earlier, later,
/// what it follows. One that neither has is left out.
pub(super) fn figures(earlier: Option<&Snapshot>, later: Option<&Snapshot>) -> Vec<Figure> {
    let both = |read: &dyn Fn(&Snapshot) -> Option<String>| {
        let said = [earlier, later].map(|it| it.and_then(read));
        let is_said = said.iter().flatten().any(|it| it != NONE);
        is_said.then(|| said.map(|it| it.unwrap_or(NONE.to_owned())))
    };
    let row = |name: &str, said: Option<[String; 2]>, follows: &str| {
        let [before, after] = said?;
        Some([name.to_owned(), before, after, follows.to_owned()])
    };
    let measured = ROWS
        .iter()
        .map(|(name, read, follows)| row(name, both(&|it| Some(read(it))), follows));
    let of_channels = ROWS_OF_CHANNELS
        .iter()
        .map(|(name, read)| row(name, both(read), COMMON));
    measured.chain(of_channels).flatten().collect()
}

/// What changed, a sentence each.
pub fn changes(earlier: &Snapshot, later: &Snapshot) -> Vec<String> {
    let (before, after) = (&earlier.measurement, &later.measurement);
    let is_made_here = |it: &Measurement| it.conditions.reference.recorded_here;
    let mut sentences = Vec::new();
    if is_made_here(before) || is_made_here(after) {
        sentences.push(
            "A tape that was recorded on this machine was played: it reads right at any speed of \
             it, so its figure is no speed error."
                .to_owned(),
        );
    }
    sentences.push(judged(
        (before, tolerance(earlier)),
        (after, tolerance(later)),
    ));
    // By another tone, or a tape that is no measure, nobody knows what is nearer.
    let says_right = [earlier, later]
        .into_iter()
        .all(|it| !matches!(verdict(it), Verdict::WhichTone | Verdict::MadeHere));
    sentences.push(speed_change(earlier, later, says_right));
    sentences.push(flutter_change(
        "Weighted flutter (two-sigma)",
        [
            (
                before.flutter.weighted_two_sigma,
                before.flutter.weighted_two_sigma_uncertainty,
            ),
            (
                after.flutter.weighted_two_sigma,
                after.flutter.weighted_two_sigma_uncertainty,
            ),
        ],
    ));
    if is_one_reference(earlier, later) == Some(false) {
        sentences.push(
            "The two were taken against different references, so part of the change may be theirs."
                .to_owned(),
        );
    } else if before.conditions.reference.uncertainty.is_none() {
        sentences.push(
            "The reference's own error is not known; with the same tape it is the same in both \
             and falls out of the change."
                .to_owned(),
        );
    }
    sentences.extend(lines_changed::sentences(earlier, later));
    sentences.extend(supply_change(earlier, later));
    sentences.extend(wiper_change(earlier, later));
    if earlier.run != later.run {
        sentences.push("The two are of different speeds or directions of the machine.".to_owned());
    }
    if !earlier.is_of_machine_of(later) {
        sentences.push("The two are of different machines.".to_owned());
    }
    sentences
}

/// Whether both were taken against one reference; `None` where it may have been
/// another tape of the same kind, for nobody has said which it was.
pub(super) fn is_one_reference(earlier: &Snapshot, later: &Snapshot) -> Option<bool> {
    let (before, after) = (&earlier.measurement, &later.measurement);
    let is_alike = reference(before) == reference(after)
        && before.conditions.reference == after.conditions.reference;
    match (&earlier.tape, &later.tape) {
        _ if !is_alike => Some(false),
        (Some(one), Some(other)) => Some(one == other),
        _ => None,
    }
}

/// The change of speed and its ±, as far as that is known. What is wrong with
/// one reference is the same in both and falls out; of two it counts.
pub(super) fn speed_moved(earlier: &Snapshot, later: &Snapshot) -> Option<(f64, Option<f64>)> {
    let before = earlier.measurement.speed.as_ref()?;
    let after = later.measurement.speed.as_ref()?;
    let known = |it: &SpeedFigures| match is_one_reference(earlier, later) {
        Some(false) => it.uncertainty_with_reference,
        _ => it.uncertainty,
    };
    let change = after.deviation.0 - before.deviation.0;
    Some((change, combined(known(before), known(after))))
}

/// What it was measured by: a frequency, or a kind with its time.
pub(super) fn reference(measurement: &Measurement) -> String {
    let kind = measurement.conditions.kind.name();
    let seconds = |time: Seconds| format!("{kind}:{}", time.0);
    match (measurement.nominal, measurement.passage, measurement.marks) {
        (Some(nominal), ..) => nominal.to_string(),
        (None, Some(passage), _) => seconds(passage.expected),
        (None, None, Some(marks)) => seconds(marks.nominal),
        (None, None, None) if measurement.recording.is_some() => kind.to_owned(),
        (None, None, None) => NONE.to_owned(),
    }
}

/// Before and after in the words of the verdict, in the band of the later one.
pub fn verdicts(pair: BeforeAfter<'_>) -> String {
    let Some(in_force) = pair.each().last().map(tolerance) else {
        return NONE.to_owned();
    };
    let words = |it: &Snapshot| verdict_within(it, in_force).words();
    match (pair.before, pair.after) {
        (Some(before), Some(after)) => format!("{} → {}", words(before), words(after)),
        (Some(before), None) => format!("before: {}", words(before)),
        (None, Some(after)) => format!("after: {}", words(after)),
        (None, None) => NONE.to_owned(),
    }
}

/// The band that it was judged in. What earlier versions kept has none: a
/// deck's, which is the usual one.
pub fn tolerance(snapshot: &Snapshot) -> Tolerance {
    let kept = snapshot.tolerance.map(Tolerance::of_half_width);
    kept.unwrap_or_default()
}

/// In the band that was in force when it was kept.
pub fn verdict(snapshot: &Snapshot) -> Verdict {
    verdict_within(snapshot, tolerance(snapshot))
}

pub(super) fn verdict_within(snapshot: &Snapshot, tolerance: Tolerance) -> Verdict {
    Verdict::of_measured(&snapshot.measurement, tolerance.half_width)
}

/// What the owner of the machine asks: was it right, and is it now? Each with
/// the band that it was kept with.
pub fn judged(earlier: (&Measurement, Tolerance), later: (&Measurement, Tolerance)) -> String {
    let in_force = later.1;
    let words = |it| Verdict::of_measured(it, in_force.half_width).words();
    let [was, is] = [earlier, later].map(|(it, _)| words(it));
    let other = if earlier.1 == in_force {
        String::new()
    } else {
        format!(
            " The earlier one was kept with a band of {}.",
            band(earlier.1)
        )
    };
    format!("In a band of {}: {was} → {is}.{other}", band(in_force))
}

/// The same of one, where the other was not kept.
pub fn judged_alone((measurement, tolerance): (&Measurement, Tolerance)) -> String {
    let words = Verdict::of_measured(measurement, tolerance.half_width).words();
    format!("In a band of {}: {words}.", band(tolerance))
}

fn speed_change(earlier: &Snapshot, later: &Snapshot, says_right: bool) -> String {
    let figures = [earlier, later].map(|it| it.measurement.speed.as_ref());
    let ([Some(before), Some(after)], Some((change, known))) =
        (figures, speed_moved(earlier, later))
    else {
        return "The speed cannot be compared: one of the two has none.".to_owned();
    };
    let said =
        |speed: &SpeedFigures| beside_uncertainty(speed.deviation.0, best_uncertainty(speed));
    let moved = format!("by {} %", with_uncertainty(change, known, true));
    let went = format!(
        "The speed went from {} % to {} %, {moved}",
        said(before),
        said(after)
    );
    let Some(known) = known else {
        return format!("{went}; {CHANGE_UNKNOWN}.");
    };
    if change.abs() <= known {
        return format!("The speed is unchanged within the ±: it moved {moved}.");
    }
    let gain = before.deviation.0.abs() - after.deviation.0.abs();
    let gained = if !says_right {
        String::new()
    } else if gain.abs() <= known {
        ": as far from right as before".to_owned()
    } else if gain > 0.0 {
        format!(": {gain:.3} % nearer to right")
    } else {
        format!(": {:.3} % farther from right", -gain)
    };
    format!("{went}{gained}.")
}

/// Why a change is not judged.
const CHANGE_UNKNOWN: &str = "its ± is not known, so whether that is a change is not told";

/// A line with its part.
fn line(snapshot: &Snapshot, nth: usize) -> Option<String> {
    let lines = snapshot.measurement.lines.as_ref()?;
    let line = lines.lines.get(nth)?;
    let part = plain(&lines::short(lines, line));
    Some(format!(
        "{}: {:.3} %, {part}",
        lines::rate(line),
        line.peak.0
    ))
}

/// What another supply voltage did: the speed for each volt, unless the
/// trimmer may have been turned in between.
fn supply_change(earlier: &Snapshot, later: &Snapshot) -> Option<String> {
    let (before, after) = (earlier.supply_volts?, later.supply_volts?);
    if (after - before).abs() < SAME_SUPPLY {
        return None;
    }
    let from_to = format!("from {before} to {after} V");
    let worked_on = earlier.label == Label::Before && later.label == Label::After;
    if worked_on || !earlier.is_of_machine_of(later) || earlier.run != later.run {
        return Some(format!(
            "The supply went {from_to} as well, so part of the change may be its."
        ));
    }
    let point = |snapshot: &Snapshot, volts| {
        let speed = snapshot.measurement.speed?;
        Some(SupplyPoint {
            volts,
            deviation: speed.deviation,
            uncertainty: speed.uncertainty?,
        })
    };
    let points = [point(earlier, before)?, point(later, after)?];
    let judged = SupplyJudgement::of(&points, tolerance(later).half_width)?;
    Some(supply::between_snapshots(&judged, &from_to))
}

/// What cleaning did to the wiper: the check that was kept earlier, or the
/// first one of the later sitting, against the newest.
fn wiper_change(earlier: &Snapshot, later: &Snapshot) -> Option<String> {
    if !earlier.is_of_machine_of(later) || earlier.run != later.run {
        return None;
    }
    let newest = later.wiper.as_ref()?;
    let kept = earlier.wiper.as_ref().filter(|kept| *kept != newest);
    let before = kept.or(later.wiper_at_first.as_ref())?;
    // Two sittings count by themselves: only more than before proves that it was
    // cleaned in between, and less proves nothing.
    let since = if kept.is_some() {
        earlier.wiper_cleanings
    } else {
        Some(0)
    };
    let between = match (since, later.wiper_cleanings) {
        (Some(before), Some(times)) if times > before => Between::Cleaned(times),
        _ => Between::Unknown,
    };
    let change = sweep::Comparison::of(before, newest, between).sentence;
    Some(format!(
        "Wiper before: {}; now: {}. {change}",
        headline(before),
        headline(newest)
    ))
}

fn flutter_change(what: &str, figures: [(Option<Percent>, Option<Percent>); 2]) -> String {
    let [(Some(before), before_pm), (Some(after), after_pm)] = figures else {
        return format!("{what} cannot be compared: one of the two has none.");
    };
    let change = after.0 - before.0;
    let from_to = format!("from {:.3} to {:.3} %", before.0, after.0);
    match combined(before_pm, after_pm) {
        None => format!("{what} went {from_to}; {CHANGE_UNKNOWN}."),
        Some(known) if change.abs() <= known => {
            format!("{what} is unchanged within the ± ({from_to}).")
        }
        Some(_) if change < 0.0 => format!("{what} fell {from_to}: better."),
        Some(_) => format!("{what} rose {from_to}: worse."),
    }
}

/// Two independent uncertainties together; `None` unless both are known.
pub(super) fn combined(one: Option<Percent>, other: Option<Percent>) -> Option<f64> {
    Some(one?.0.hypot(other?.0))
}

fn speed(snapshot: &Snapshot) -> String {
    let figures = &snapshot.measurement.speed;
    figures.as_ref().map_or(NONE.to_owned(), |speed| {
        let said = verdict(snapshot);
        let way = said.way(speed.deviation, speed.uncertainty);
        format!("{} {}", words::deviation(speed), way.map_or("", Way::word))
    })
}

fn drift(measurement: &Measurement) -> String {
    measurement
        .drift
        .map_or(NONE.to_owned(), |drift| words::drift(&drift))
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::readings::SweepVerdict;
    use crate::report::sample;
    use crate::units::Hertz;

    pub fn before_and_after() -> (Snapshot, Snapshot) {
        let mut before = Snapshot::new(Label::Before, "line in", sample::measurement());
        before.taken_at = "2026-03-01T11:05:00Z".parse().expect("a time");
        before.machine = Some("deck 4".to_owned());
        let mut after = before.clone();
        after.label = Label::After;
        after.taken_at = "2026-03-01T11:45:00Z".parse().expect("a time");
        let speed = after.measurement.speed.as_mut().expect("a speed");
        speed.deviation = Percent(0.004);
        speed.measured = Some(Hertz(3150.126));
        after.measurement.flutter.weighted_two_sigma = Some(Percent(0.08));
        (before, after)
    }

    #[test]
    fn before_and_after_stand_side_by_side() {
        let (before, after) = before_and_after();
        let text = side_by_side((1, &before), (2, &after), &TimeZone::UTC);
        let expected = "\
number                      1                         2
taken                       2026-03-01 11:05          2026-03-01 11:45
kept as                     before                    after
machine                     deck 4                    deck 4
source                      line in                   line in
reference                   3150 Hz                   3150 Hz
speed %                     -1.232 ±0.012 slow        +0.004 ±0.012
band                        ±0.5 % deck               ±0.5 % deck
verdict                     OUT BY THIS TAPE          RIGHT BY THIS TAPE
drift % a minute            +0.021 ±0.015             +0.021 ±0.015
wow, 0.5–6 Hz, RMS %        0.100                     0.100
flutter, 6–100 Hz, RMS %    0.050                     0.050
weighted, two-sigma %       0.1210 ±0.0080            0.0800 ±0.0080
weighted, quasi-peak %      0.142 ±0.012              0.142 ±0.012
signal-to-noise dB          57.9                      57.9
note                        –                         –

In a band of ±0.5 % deck: OUT BY THIS TAPE → RIGHT BY THIS TAPE.
The speed went from -1.232 % to +0.004 %, by +1.236 ±0.016 %: 1.228 % nearer to
right.
Weighted flutter (two-sigma) fell from 0.121 to 0.080 %: better.
The reference's own error is not known; with the same tape it is the same in
both and falls out of the change.
";
        assert_eq!(text, expected);
    }

    /// What the owner asks is judged in one band, that of the later one.
    #[test]
    fn out_to_right_is_said_in_the_band_of_the_later_one() {
        let (mut before, mut after) = before_and_after();
        after.tolerance = Some(Percent(1.0));
        let said = &changes(&before, &after)[0];
        let expected = "In a band of ±1 % portable: OUT BY THIS TAPE → RIGHT BY THIS TAPE. \
                        The earlier one was kept with a band of ±0.5 % deck.";
        assert_eq!(said, expected);
        after.tolerance = None;
        let ambiguous =
            crate::readings::Caution::told(crate::readings::CautionCode::ReferenceAmbiguous, "");
        before.measurement.cautions.push(ambiguous);
        let said = changes(&before, &after).join(" ");
        assert!(said.contains("WHICH TONE? → RIGHT"), "{said}");
        assert!(!said.contains("nearer") && !said.contains("slow"), "{said}");
    }

    #[test]
    fn a_change_within_the_uncertainty_is_none() {
        let (before, _) = before_and_after();
        let mut after = before.clone();
        let speed = after.measurement.speed.as_mut().expect("a speed");
        speed.deviation.0 += 0.01;
        let said = changes(&before, &after);
        assert!(said[1].contains("unchanged within the ±"), "{}", said[1]);
        assert!(said[2].contains("unchanged within the ±"), "{}", said[2]);
    }

    #[test]
    fn without_an_uncertainty_nothing_is_called_a_change() {
        let (mut before, after) = before_and_after();
        before.measurement.flutter.weighted_two_sigma_uncertainty = None;
        let speed = before.measurement.speed.as_mut().expect("a speed");
        speed.uncertainty = None;
        let said = changes(&before, &after);
        for (sentence, begins) in [
            (
                &said[1],
                "The speed went from -1.232 % to +0.004 %, by +1.236 %;",
            ),
            (
                &said[2],
                "Weighted flutter (two-sigma) went from 0.121 to 0.080 %;",
            ),
        ] {
            let expected = format!("{begins} {CHANGE_UNKNOWN}.");
            assert_eq!(*sentence, expected);
        }
    }

    /// Two tapes of one kind, each right within 0.3 %: half a percent between
    /// their readings may be theirs.
    #[test]
    fn the_errors_of_two_tapes_count_and_that_of_one_falls_out() {
        let (mut before, mut after) = before_and_after();
        for (it, deviation) in [(&mut before, 0.0), (&mut after, 0.4)] {
            it.measurement.conditions.reference.uncertainty = Some(Percent(0.3));
            let speed = it.measurement.speed.as_mut().expect("a speed");
            speed.deviation = Percent(deviation);
            speed.uncertainty = Some(Percent(0.01));
            speed.uncertainty_with_reference = Some(Percent(0.3));
        }
        let mut of_tapes = |one: Option<&str>, other: Option<&str>| {
            before.tape = one.map(str::to_owned);
            after.tape = other.map(str::to_owned);
            changes(&before, &after).join(" ")
        };
        let said = of_tapes(Some("bench 1"), Some("bench 2"));
        assert!(said.contains("unchanged within the ±"), "{said}");
        assert!(said.contains("different references"), "{said}");
        for other in [Some("bench 1"), None] {
            let said = of_tapes(Some("bench 1"), other);
            assert!(said.contains("+0.400 ±0.015 %"), "{said}");
            assert!(!said.contains("different references"), "{said}");
        }
    }

    #[test]
    fn a_machine_is_one_however_its_name_is_written() {
        let (before, mut after) = before_and_after();
        let mut earlier = before.clone();
        earlier.wiper = Some(sample::sweep());
        after.wiper = earlier.wiper.clone();
        after.wiper_at_first = earlier.wiper.clone();
        after.machine = Some("Deck-4".to_owned());
        let said = changes(&earlier, &after).join(" ");
        assert!(!said.contains("different machines"), "{said}");
        assert!(said.contains("Wiper before"), "{said}");
        after.machine = Some("deck 5".to_owned());
        let said = changes(&earlier, &after).join(" ");
        assert!(said.contains("different machines"), "{said}");
        assert!(!said.contains("Wiper before"), "{said}");
    }

    #[test]
    fn fresh_and_tired_cells_are_compared() {
        let (mut fresh, _) = before_and_after();
        fresh.label = Label::Named("fresh cells".to_owned());
        fresh.supply_volts = Some(3.0);
        let mut tired = fresh.clone();
        tired.supply_volts = Some(2.5);
        tired
            .measurement
            .speed
            .as_mut()
            .expect("a speed")
            .deviation
            .0 -= 0.5;
        let said = changes(&fresh, &tired).join("\n");
        // 0.5 % slower with half a volt less.
        assert!(
            said.contains("from 3 to 2.5 V") && said.contains("+1.000"),
            "{said}"
        );
        let text = side_by_side((1, &fresh), (2, &tired), &TimeZone::UTC);
        assert!(text.contains("supply V                    3  "), "{text}");

        tired.measurement = fresh.measurement.clone();
        let said = changes(&fresh, &tired).join("\n");
        assert!(said.contains("held well"), "{said}");
        // Between before and after somebody turned the trimmer.
        fresh.label = Label::Before;
        tired.label = Label::After;
        let said = changes(&fresh, &tired).join("\n");
        assert!(said.contains("part of the change may be its"), "{said}");
        tired.supply_volts = Some(3.01);
        assert!(!changes(&fresh, &tired).join(" ").contains("supply"));
    }

    #[test]
    fn what_cleaning_did_to_the_wiper_is_said() {
        let (before, mut after) = before_and_after();
        let dirty = sample::sweep();
        let mut clean = dirty.clone();
        clean.verdict = SweepVerdict::Smooth;
        clean.bad_spots.clear();
        after.wiper = Some(clean.clone());
        after.wiper_cleanings = Some(1);
        assert!(!changes(&before, &after).join(" ").contains("wiper"));
        // The dirty one was checked after the before was kept, ...
        after.wiper_at_first = Some(dirty.clone());
        let said = changes(&before, &after).join("\n");
        assert!(said.contains("jumps") && said.contains("cured"), "{said}");
        let text = side_by_side((1, &before), (2, &after), &TimeZone::UTC);
        assert!(text.contains("wiper                       –                         smooth"));
        // ... or is in it.
        after.wiper_at_first = None;
        let mut earlier = before.clone();
        earlier.wiper = Some(dirty);
        earlier.wiper_cleanings = Some(0);
        let said = changes(&earlier, &after).join("\n");
        assert!(said.contains("cured"), "{said}");
        earlier.wiper = Some(clean);
        assert!(!changes(&earlier, &after).join(" ").contains("The wiper"));
    }

    #[test]
    fn cleaning_is_named_only_where_it_is_known_of() {
        let (mut before, mut after) = before_and_after();
        let dirty = sample::sweep();
        let mut clean = dirty.clone();
        clean.verdict = SweepVerdict::Smooth;
        clean.bad_spots.clear();
        let mut still = dirty.clone();
        still.lasted.0 += 1.0;
        before.wiper = Some(dirty);
        for cleanings in [
            (None, None),
            (Some(0), Some(0)),
            (Some(1), Some(1)),
            (None, Some(1)),
        ] {
            (before.wiper_cleanings, after.wiper_cleanings) = cleanings;
            for newest in [&clean, &still] {
                after.wiper = Some(newest.clone());
                let said = changes(&before, &after).join(" ");
                assert!(said.contains("Wiper before"), "{said}");
                assert!(
                    !said.to_lowercase().contains("clean"),
                    "{cleanings:?}: {said}"
                );
            }
        }
        // As the screen says it.
        for (times, told) in [(1, "clean it once more"), (2, "Replace the trimmer")] {
            (before.wiper_cleanings, after.wiper_cleanings) = (Some(0), Some(times));
            let said = changes(&before, &after).join(" ");
            assert!(said.contains(told), "{said}");
        }
    }

    #[test]
    fn what_got_worse_is_called_worse() {
        let (before, after) = before_and_after();
        let said = changes(&after, &before);
        assert!(said[1].contains("farther from right"), "{}", said[1]);
        assert!(said[2].contains("worse"), "{}", said[2]);
    }

    #[test]
    fn what_cannot_be_compared_is_said() {
        let (before, mut after) = before_and_after();
        after.measurement = sample::without_tone();
        after.measurement.nominal = Some(Hertz(3000.0));
        after.machine = None;
        after.simulated = true;
        let said = changes(&before, &after).join("\n");
        assert!(said.contains("The speed cannot be compared"), "{said}");
        assert!(said.contains("different references"), "{said}");
        assert!(said.contains("different machines"), "{said}");
        let text = side_by_side((1, &before), (2, &after), &TimeZone::UTC);
        assert!(text.starts_with("SIMULATED"), "{text}");
    }
}
