//! One line of JSON a file: the contract that scripts rely on, described by
//! `assets/reading.schema.json`.
//!
//! Keys stand in a fixed order and carry their unit. A figure that cannot be
//! had is `null`, never 0, never NaN, never left out; a caution says why.

use serde::Serialize;
use serde_json::Value;

use super::numbers::{places, significant, significant_up};
use super::{FileReport, FileResult, sweep as sweep_words, wavering_json};
use crate::readings::contact::{ContactReport, ContactTrack, ContactVerdict};
use crate::readings::{
    self, Caution, CautionCode, ChannelUsed, ClockSource, Conditions, Cut, DriftReading,
    FlutterReading, MarksFigures, MatchFigures, Measurement, Nominal, NoteFigures, PassageFigures,
    SampleClock, SignalFigures, SpotKind, SpotSeen, SteadyStretch, SweepReport, SweepVerdict,
    TuningHint, Unclear, Verdict,
};
use crate::references::Tolerance;
use crate::units::{Decibels, Hertz, Percent, Seconds};

/// Value of the key `schema`.
pub const SCHEMA: &str = "tapewright.reading/1";

/// What is said where no usable reference was found.
const OF_A_REFERENCE: [CautionCode; 9] = [
    CautionCode::ToneNotFound,
    CautionCode::ToneTooLow,
    CautionCode::HalfOrDoubleSpeed,
    CautionCode::MainsFrequencyMismatch,
    CautionCode::ChannelsDisagree,
    CautionCode::ReferenceAmbiguous,
    CautionCode::ReferenceCutOff,
    CautionCode::ReferenceMismatch,
    CautionCode::ReferenceNotFound,
];

/// The line for a file, without the line's end.
#[allow(clippy::missing_panics_doc)] // it cannot, as the reason given says
pub fn line(report: &FileReport<'_>) -> String {
    // Strings, numbers and fixed keys only: nothing that JSON cannot say.
    serde_json::to_string(&reading(report)).expect("plain values always become JSON")
}

/// The same object to be looked into.
pub(super) fn object(report: &FileReport<'_>) -> Value {
    serde_json::to_value(reading(report)).expect("plain values always become JSON")
}

/// Whether two measurements say the same in every figure: that is one stretch,
/// measured twice.
pub fn is_one(one: &Measurement, other: &Measurement) -> bool {
    let said = |it| line(&FileReport::of("", FileResult::Measured(it)));
    said(one) == said(other)
}

/// What is told of a wiper.
#[allow(clippy::missing_panics_doc)] // as above
pub fn sweep(report: &SweepReport) -> Value {
    serde_json::to_value(Sweep::of(report)).expect("plain values always become JSON")
}

fn reading<'a>(report: &'a FileReport<'_>) -> Line<'a> {
    let mut reading = match &report.result {
        FileResult::Measured(measurement) => Line::of(report.file, measurement, report.tolerance),
        FileResult::NotMeasured {
            conditions,
            code,
            reason,
        } => Line::not_measured(report.file, conditions, *code, reason),
    };
    reading.reference.tape = report.tape.map(|card| card.name.as_str());
    if let Some(sweep) = report.sweep {
        reading.sweep = Some(Sweep::of(sweep));
        reading.leave_out_what_turned(sweep);
    }
    if let Some(judged) = report.contact.flatten() {
        reading.by_contact(judged);
    }
    reading.contact = report.contact.map(|it| ContactAsked(it.map(Contact::of)));
    reading
}

#[derive(Serialize, Default)]
struct Line<'a> {
    schema: &'static str,
    file: &'a str,
    duration_s: Option<f64>,
    rate_hz: Option<u32>,
    channel: Option<ChannelUsed>,
    reference: Reference<'a>,
    signal: Signal,
    speed: Speed,
    clock: Clock,
    drift: Drift,
    stability: Stability,
    flutter: Flutter,
    lines: Option<Vec<wavering_json::Line<'a>>>,
    channels: Option<wavering_json::Channels>,
    cautions: Vec<Caution>,
    #[serde(skip_serializing_if = "Option::is_none")]
    parts_card: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    along: Option<Along>,
    #[serde(skip_serializing_if = "Option::is_none")]
    measured: Option<Measured>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    stretches: Vec<Stretch>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<Note>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tuning: Option<Tuning>,
    #[serde(skip_serializing_if = "Option::is_none")]
    passage: Option<Passage>,
    #[serde(skip_serializing_if = "Option::is_none")]
    marks: Option<Marks>,
    #[serde(rename = "match", skip_serializing_if = "Option::is_none")]
    matched: Option<Match>,
    #[serde(skip_serializing_if = "Option::is_none")]
    ident: Option<TapeSays<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sweep: Option<Sweep>,
    #[serde(skip_serializing_if = "Option::is_none")]
    contact: Option<ContactAsked>,
}

#[allow(clippy::struct_field_names)] // the keys of the contract carry their unit
#[derive(Serialize)]
struct Passage {
    start_s: Option<f64>,
    end_s: Option<f64>,
    length_s: Option<f64>,
    expected_s: Option<f64>,
}

/// A held note, where one was read.
#[derive(Serialize)]
struct Note {
    vibrato: Option<Vibrato>,
    stiffness: Option<f64>,
    partials: Vec<u32>,
}

/// Only a hint, known up to a semitone.
#[derive(Serialize)]
struct Tuning {
    concert_pitch_hz: Option<f64>,
    offset_cents: Option<f64>,
    uncertainty_cents: Option<f64>,
    scatter_cents: Option<f64>,
    offset_percent: Option<f64>,
}

impl Tuning {
    fn of(tuning: &TuningHint) -> Self {
        Self {
            concert_pitch_hz: places(tuning.concert_pitch.0, 3),
            offset_cents: places(tuning.offset.0, 1),
            uncertainty_cents: places(tuning.uncertainty.0, 1),
            scatter_cents: places(tuning.scatter.0, 1),
            offset_percent: places(tuning.deviation().0, 3),
        }
    }
}

#[derive(Serialize)]
struct Vibrato {
    rate_hz: Option<f64>,
    depth_percent: Option<f64>,
}

impl Note {
    fn of(note: &NoteFigures) -> Self {
        Self {
            vibrato: note.vibrato.map(|vibrato| Vibrato {
                rate_hz: places(vibrato.rate.0, 2),
                depth_percent: places(vibrato.depth.0, 4),
            }),
            stiffness: significant(note.stiffness, 3),
            partials: note.partials.clone(),
        }
    }
}

#[derive(Serialize)]
struct Marks {
    found: u64,
    expected: u64,
    spacing_s: Option<f64>,
}

#[derive(Serialize)]
struct Match {
    accepted: bool,
    at_copy_s: Option<f64>,
    residual_ms: Option<f64>,
}

/// What the tape says of itself.
#[derive(Serialize)]
struct TapeSays<'a> {
    machine: &'a str,
    date: &'a str,
    hz: Option<f64>,
}

/// What was asked for; null where the file could not be read.
#[derive(Serialize)]
#[serde(transparent)]
struct ContactAsked(Option<Contact>);

/// A channel under each name that there is.
#[derive(Serialize, Default)]
struct Contact {
    #[serde(skip_serializing_if = "Option::is_none")]
    mono: Option<ContactOfChannel>,
    #[serde(skip_serializing_if = "Option::is_none")]
    left: Option<ContactOfChannel>,
    #[serde(skip_serializing_if = "Option::is_none")]
    right: Option<ContactOfChannel>,
}

#[derive(Serialize)]
struct ContactOfChannel {
    level_dbfs: Option<[Option<f64>; 2]>,
    crackles: u64,
    breaks: Vec<ContactBreak>,
    tracking_db: Option<f64>,
}

#[allow(clippy::struct_field_names)] // the keys of the contract carry their unit
#[derive(Serialize)]
struct ContactBreak {
    start_s: Option<f64>,
    length_s: Option<f64>,
    depth_db: Option<f64>,
}

/// Only for records that are long enough to say something about the tape.
#[derive(Serialize)]
struct Along {
    start: PlaceOnTape,
    middle: Option<PlaceOnTape>,
    end: PlaceOnTape,
    change_percent: Option<f64>,
    change_uncertainty_percent: Option<f64>,
    sloping: bool,
}

#[derive(Serialize)]
struct PlaceOnTape {
    deviation_percent: Option<f64>,
    uncertainty_percent: Option<f64>,
}

/// Only where a part was left out.
#[allow(clippy::struct_field_names)] // the keys of the contract carry their unit
#[derive(Serialize)]
struct Measured {
    from_s: Option<f64>,
    to_s: Option<f64>,
    run_up_s: Option<f64>,
    run_down_s: Option<f64>,
}

impl Measured {
    fn of(cut: &Cut) -> Self {
        Self {
            from_s: places(cut.from.0, 2),
            to_s: places(cut.to.0, 2),
            run_up_s: places(cut.run_up.0, 2),
            run_down_s: places(cut.run_down.0, 2),
        }
    }
}

/// Only where the speed was moved between steady stretches.
#[derive(Serialize)]
struct Stretch {
    from_s: Option<f64>,
    to_s: Option<f64>,
    deviation_percent: Option<f64>,
    uncertainty_percent: Option<f64>,
    weighted_two_sigma_percent: Option<f64>,
    weighted_two_sigma_uncertainty_percent: Option<f64>,
}

impl Stretch {
    fn of(stretch: &SteadyStretch) -> Self {
        let percent = |value: Option<Percent>| value.and_then(|value| places(value.0, 6));
        Self {
            from_s: places(stretch.from.0, 2),
            to_s: places(stretch.to.0, 2),
            deviation_percent: places(stretch.deviation.0, 6),
            uncertainty_percent: percent(stretch.uncertainty),
            weighted_two_sigma_percent: percent(stretch.weighted_two_sigma),
            weighted_two_sigma_uncertainty_percent: percent(stretch.weighted_two_sigma_uncertainty),
        }
    }
}

#[derive(Serialize)]
struct Sweep {
    verdict: SweepVerdict,
    unclear: Option<Unclear>,
    range_low_percent: Option<f64>,
    range_high_percent: Option<f64>,
    right_speed_in_range: Option<bool>,
    right_speed_at: Option<f64>,
    backlash_percent: Option<f64>,
    bad_spots: Vec<BadSpot>,
    slight_spots: Vec<BadSpot>,
}

#[derive(Serialize)]
struct BadSpot {
    at_percent: Option<f64>,
    depth_percent: Option<f64>,
    kind: SpotKind,
    seen: SpotSeen,
}

#[derive(Serialize, Default)]
struct Reference<'a> {
    kind: &'static str,
    hz: Option<f64>,
    tape: Option<&'a str>,
    error_percent: Option<f64>,
    error_uncertainty_percent: Option<f64>,
}

#[derive(Serialize, Default)]
struct Signal {
    usable: bool,
    level_dbfs: Option<f64>,
    snr_db: Option<f64>,
    clipped_samples: Option<u64>,
    dropouts: Option<Vec<Dropout>>,
}

#[derive(Serialize)]
struct Dropout {
    start_s: Option<f64>,
    length_s: Option<f64>,
}

#[derive(Serialize, Default)]
struct Speed {
    measured_hz: Option<f64>,
    deviation_percent: Option<f64>,
    deviation_cents: Option<f64>,
    uncertainty_percent: Option<f64>,
    uncertainty_with_reference_percent: Option<f64>,
    verdict: Option<Verdict>,
    tolerance_percent: Option<f64>,
    uncertainty_parts: Parts,
}

#[allow(clippy::struct_field_names)] // the keys of the contract carry their unit
#[derive(Serialize, Default)]
struct Parts {
    noise_percent: Option<f64>,
    wow_percent: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    partials_percent: Option<f64>,
    clock_percent: Option<f64>,
    reference_percent: Option<f64>,
}

#[derive(Serialize, Default)]
struct Clock {
    error_ppm: Option<f64>,
    uncertainty_ppm: Option<f64>,
    source: ClockSource,
}

#[derive(Serialize, Default)]
struct Drift {
    percent_per_minute: Option<f64>,
    uncertainty_percent_per_minute: Option<f64>,
    span_percent: Option<f64>,
}

#[derive(Serialize, Default)]
struct Stability {
    worth_averaging_s: Option<f64>,
    allan_deviation: Option<Vec<AllanDeviation>>,
}

#[derive(Serialize)]
struct AllanDeviation {
    averaging_s: Option<f64>,
    percent: Option<f64>,
}

#[allow(clippy::struct_field_names)] // the keys of the contract
#[derive(Serialize, Default)]
struct Flutter {
    weighted_two_sigma_percent: Option<f64>,
    weighted_two_sigma_uncertainty_percent: Option<f64>,
    weighted_peak_percent: Option<f64>,
    weighted_peak_uncertainty_percent: Option<f64>,
    weighted_rms_percent: Option<f64>,
    weighted_rms_uncertainty_percent: Option<f64>,
    unweighted_two_sigma_percent: Option<f64>,
    unweighted_rms_percent: Option<f64>,
    unweighted_band_hz: Option<[Option<f64>; 2]>,
    wow_rms_percent: Option<f64>,
    flutter_rms_percent: Option<f64>,
}

impl<'a> Line<'a> {
    /// While the trimmer is turned there is no speed to be told, as the text
    /// says too.
    fn leave_out_what_turned(&mut self, report: &SweepReport) {
        let stood = matches!(
            report.unclear,
            Some(Unclear::HardlyMoved | Unclear::TooShort)
        );
        if report.passes.is_empty() || stood {
            return;
        }
        self.speed = Speed::default();
        self.drift = Drift::default();
        self.stability = Stability::default();
        self.along = None;
        self.flutter = Flutter::default();
        self.lines = None;
        self.parts_card = None;
        self.cautions
            .retain(|it| !sweep_words::BY_TURNING.contains(&it.code()));
        self.cautions.push(Caution::Swept);
    }

    fn of(file: &'a str, measurement: &'a Measurement, tolerance: Tolerance) -> Self {
        let conditions = &measurement.conditions;
        let lines = measurement.lines.as_ref();
        let cut = measurement.cut.as_ref();
        let stretches = cut.map(|cut| &cut.stretches[..]).unwrap_or_default();
        Self {
            duration_s: places(measurement.duration.0, 6),
            rate_hz: Some(measurement.rate_hz),
            channel: Some(measurement.channel),
            signal: Signal::of(&measurement.signal),
            speed: Speed::of(measurement, tolerance.half_width).unwrap_or_default(),
            drift: measurement
                .drift
                .as_ref()
                .map(Drift::of)
                .unwrap_or_default(),
            stability: Stability::of(measurement),
            flutter: Flutter::of(&measurement.flutter),
            cautions: measurement.cautions.clone(),
            lines: lines.map(|it| it.lines.iter().map(wavering_json::Line::of).collect()),
            channels: measurement
                .channels
                .as_ref()
                .map(wavering_json::Channels::of),
            parts_card: lines.and_then(|it| it.card.as_deref()),
            along: measurement.along.as_ref().map(Along::of),
            measured: cut.map(Measured::of),
            stretches: stretches.iter().map(Stretch::of).collect(),
            note: measurement.note.as_ref().map(Note::of),
            tuning: measurement.tuning.as_ref().map(Tuning::of),
            passage: measurement.passage.as_ref().map(Passage::of),
            marks: measurement.marks.as_ref().map(Marks::of),
            matched: measurement.recording.as_ref().map(Match::of),
            ident: measurement.ident.as_ref().map(TapeSays::of),
            ..Self::empty(file, conditions, measurement.nominal)
        }
    }

    /// Contacts are judged by any sound: which tone it is does not matter, so
    /// what is said of one that was not found is left out.
    fn by_contact(&mut self, contact: &ContactReport) {
        if self.signal.usable || contact.verdict() == ContactVerdict::NoSignal {
            return;
        }
        self.signal.usable = true;
        self.signal.level_dbfs = contact.highest().and_then(|it| places(it.0, 1));
        self.cautions
            .retain(|it| !OF_A_REFERENCE.contains(&it.code()));
        self.cautions.push(Caution::ToneNotNeeded);
    }

    fn not_measured(
        file: &'a str,
        conditions: &Conditions,
        code: CautionCode,
        reason: &str,
    ) -> Self {
        let nominal = match conditions.nominal {
            Nominal::Fixed(hz) if conditions.kind.has_frequency() => Some(hz),
            _ => None,
        };
        Self {
            cautions: vec![Caution::told(code, reason)],
            ..Self::empty(file, conditions, nominal)
        }
    }

    /// Without a figure.
    fn empty(file: &'a str, conditions: &Conditions, nominal: Option<Hertz>) -> Self {
        Self {
            schema: SCHEMA,
            file,
            reference: Reference::of(conditions, nominal),
            clock: Clock::of(&conditions.clock),
            ..Self::default()
        }
    }
}

impl Contact {
    fn of(report: &ContactReport) -> Self {
        let mut contact = Self::default();
        for channel in &report.channels {
            let slot = match channel.track {
                ContactTrack::Mono => &mut contact.mono,
                ContactTrack::Left => &mut contact.left,
                ContactTrack::Right => &mut contact.right,
            };
            let breaks = channel.breaks.iter().map(|it| ContactBreak {
                start_s: places(it.start.0, 4),
                length_s: places(it.length.0, 4),
                depth_db: places(it.depth.0, 1),
            });
            *slot = Some(ContactOfChannel {
                level_dbfs: channel.level.map(|ends| ends.map(|end| places(end.0, 1))),
                crackles: channel.crackles,
                breaks: breaks.collect(),
                tracking_db: report.tracking.and_then(|it| places(it.0, 2)),
            });
        }
        contact
    }
}

impl Passage {
    fn of(passage: &PassageFigures) -> Self {
        let seconds = |time: Option<Seconds>| time.and_then(|time| places(time.0, 6));
        Self {
            start_s: seconds(passage.start),
            end_s: seconds(passage.end),
            length_s: seconds(passage.length),
            expected_s: seconds(Some(passage.expected)),
        }
    }
}

impl Marks {
    fn of(marks: &MarksFigures) -> Self {
        Self {
            found: marks.found,
            expected: marks.expected,
            // A millionth of a percent of a spacing of a second.
            spacing_s: marks.spacing.and_then(|time| places(time.0, 8)),
        }
    }
}

impl Match {
    fn of(found: &MatchFigures) -> Self {
        Self {
            accepted: found.accepted,
            at_copy_s: found.at_copy.and_then(|place| places(place.0, 4)),
            residual_ms: found.residual.and_then(|off| places(off.0 * 1000.0, 3)),
        }
    }
}

impl<'a> TapeSays<'a> {
    fn of(ident: &'a readings::TapeIdent) -> Self {
        Self {
            machine: &ident.machine,
            date: &ident.date,
            hz: places(ident.nominal.0, 3),
        }
    }
}

impl Along {
    fn of(along: &readings::Along) -> Self {
        let place = |place: &readings::Place| PlaceOnTape {
            deviation_percent: places(place.deviation.0, 4),
            uncertainty_percent: uncertainty(Some(place.uncertainty)),
        };
        Self {
            start: place(&along.start),
            middle: along.middle.as_ref().map(place),
            end: place(&along.end),
            change_percent: places(along.change.0, 4),
            change_uncertainty_percent: uncertainty(Some(along.change_uncertainty)),
            sloping: along.is_sloping(),
        }
    }
}

impl Sweep {
    fn of(report: &SweepReport) -> Self {
        let end = |nth: usize| places(report.range?[nth].0, 3);
        let spot = |spot: &readings::BadSpot| BadSpot {
            at_percent: places(spot.at.0, 3),
            depth_percent: spot.depth.and_then(|depth| places(depth.0, 3)),
            kind: spot.kind,
            seen: spot.seen,
        };
        Self {
            verdict: report.verdict,
            unclear: report.unclear,
            range_low_percent: end(0),
            range_high_percent: end(1),
            right_speed_in_range: report.right_speed_in_range(),
            right_speed_at: report.right_speed_at().and_then(|at| places(at, 4)),
            backlash_percent: report.backlash.and_then(|backlash| places(backlash.0, 3)),
            bad_spots: report.bad_spots.iter().map(spot).collect(),
            slight_spots: report.slight_spots.iter().map(spot).collect(),
        }
    }
}

impl Reference<'_> {
    fn of(conditions: &Conditions, nominal: Option<Hertz>) -> Self {
        let reference = &conditions.reference;
        Self {
            kind: conditions.kind.name(),
            hz: nominal.and_then(|hz| significant(hz.0, 10)),
            tape: None,
            error_percent: significant(reference.error.0, 6),
            error_uncertainty_percent: uncertainty(reference.uncertainty),
        }
    }
}

impl Signal {
    fn of(signal: &SignalFigures) -> Self {
        let dropout = |dropout: &crate::readings::Dropout| Dropout {
            start_s: places(dropout.start.0, 4),
            length_s: places(dropout.length.0, 4),
        };
        Self {
            usable: signal.usable,
            level_dbfs: decibels(signal.level),
            snr_db: decibels(signal.snr),
            clipped_samples: Some(signal.clipped_samples),
            dropouts: Some(signal.dropouts.iter().map(dropout).collect()),
        }
    }
}

impl Speed {
    /// With what may be said of it in a band of this half width.
    fn of(measurement: &Measurement, half_width: Percent) -> Option<Self> {
        let speed = measurement.speed.as_ref()?;
        Some(Self {
            verdict: Some(Verdict::of_measured(measurement, half_width)),
            tolerance_percent: places(half_width.0, 4),
            measured_hz: speed.measured.and_then(|hz| places(hz.0, 5)),
            deviation_percent: places(speed.deviation.0, 6),
            deviation_cents: places(speed.deviation.cents().0, 4),
            uncertainty_percent: uncertainty(speed.uncertainty),
            uncertainty_with_reference_percent: uncertainty(speed.uncertainty_with_reference),
            uncertainty_parts: Parts {
                noise_percent: uncertainty(speed.parts.noise),
                wow_percent: uncertainty(speed.parts.wow),
                partials_percent: uncertainty(speed.parts.partials),
                clock_percent: uncertainty(Some(speed.parts.clock)),
                reference_percent: uncertainty(speed.parts.reference),
            },
        })
    }
}

impl Clock {
    fn of(clock: &SampleClock) -> Self {
        Self {
            error_ppm: significant(clock.error.0, 6),
            uncertainty_ppm: significant(clock.uncertainty.0, 6),
            source: clock.source,
        }
    }
}

impl Drift {
    fn of(drift: &DriftReading) -> Self {
        Self {
            percent_per_minute: places(drift.percent_per_minute, 6),
            uncertainty_percent_per_minute: drift
                .uncertainty_percent_per_minute
                .and_then(|value| significant_up(value, 3)),
            span_percent: flutter(drift.span),
        }
    }
}

impl Stability {
    fn of(measurement: &Measurement) -> Self {
        let worth = measurement.worth();
        let points = measurement.stability.iter().map(|point| AllanDeviation {
            averaging_s: significant(point.averaging.0, 6),
            percent: significant(point.deviation.0, 4),
        });
        Self {
            worth_averaging_s: worth.and_then(|worth| significant(worth.point.averaging.0, 6)),
            allan_deviation: worth.map(|_| points.collect()),
        }
    }
}

impl Flutter {
    fn of(reading: &FlutterReading) -> Self {
        Self {
            weighted_two_sigma_percent: flutter(reading.weighted_two_sigma),
            weighted_two_sigma_uncertainty_percent: uncertainty(
                reading.weighted_two_sigma_uncertainty,
            ),
            weighted_peak_percent: flutter(reading.weighted_peak),
            weighted_peak_uncertainty_percent: uncertainty(reading.weighted_peak_uncertainty),
            weighted_rms_percent: flutter(reading.weighted_rms),
            weighted_rms_uncertainty_percent: uncertainty(reading.weighted_rms_uncertainty),
            unweighted_two_sigma_percent: flutter(reading.unweighted_two_sigma),
            unweighted_rms_percent: flutter(reading.unweighted_rms),
            unweighted_band_hz: reading
                .unweighted_band
                .map(|band| band.map(|edge| significant(edge.0, 6))),
            wow_rms_percent: flutter(reading.wow_rms),
            flutter_rms_percent: flutter(reading.flutter_rms),
        }
    }
}

fn decibels(value: Option<Decibels>) -> Option<f64> {
    places(value?.0, 2)
}

fn flutter(value: Option<Percent>) -> Option<f64> {
    significant(value?.0, 4)
}

/// Three digits are more than any uncertainty is known to; rounded up, as every ±.
fn uncertainty(value: Option<Percent>) -> Option<f64> {
    significant_up(value?.0, 3)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    fn measured(measurement: &Measurement) -> String {
        line(&FileReport::of(
            "side-a.wav",
            FileResult::Measured(measurement),
        ))
    }

    #[test]
    fn a_measurement_becomes_the_line_of_the_contract() {
        let expected = concat!(
            r#"{"schema":"tapewright.reading/1","file":"side-a.wav","duration_s":62.4,"rate_hz":48000,"channel":"both","#,
            r#""reference":{"kind":"tone","hz":3150.0,"tape":null,"error_percent":0.0,"error_uncertainty_percent":null},"#,
            r#""signal":{"usable":true,"level_dbfs":-12.1,"snr_db":57.9,"clipped_samples":0,"dropouts":[{"start_s":8.31,"length_s":0.02}]},"#,
            r#""speed":{"measured_hz":3111.2,"deviation_percent":-1.231746,"deviation_cents":-21.4568,"uncertainty_percent":0.0112,"#,
            r#""uncertainty_with_reference_percent":null,"verdict":"out_by_this_tape","tolerance_percent":0.5,"#,
            r#""uncertainty_parts":{"noise_percent":0.0001,"wow_percent":0.0052,"clock_percent":0.01,"reference_percent":null}},"#,
            r#""clock":{"error_ppm":0.0,"uncertainty_ppm":100.0,"source":"default"},"#,
            r#""drift":{"percent_per_minute":0.021,"uncertainty_percent_per_minute":0.015,"span_percent":0.03},"#,
            r#""stability":{"worth_averaging_s":8.0,"allan_deviation":[{"averaging_s":4.0,"percent":0.011},{"averaging_s":8.0,"percent":0.006},{"averaging_s":16.0,"percent":0.007}]},"#,
            r#""flutter":{"weighted_two_sigma_percent":0.121,"weighted_two_sigma_uncertainty_percent":0.008,"#,
            r#""weighted_peak_percent":0.142,"weighted_peak_uncertainty_percent":0.012,"#,
            r#""weighted_rms_percent":0.06,"weighted_rms_uncertainty_percent":0.004,"#,
            r#""unweighted_two_sigma_percent":0.31,"unweighted_rms_percent":0.12,"unweighted_band_hz":[0.1,200.0],"#,
            r#""wow_rms_percent":0.1,"flutter_rms_percent":0.05},"lines":null,"channels":null,"#,
            r#""cautions":[{"code":"reference_error_unknown","text":"Nobody has said how true this tape is."}]}"#,
        );
        assert_eq!(measured(&sample::measurement()), expected);
    }

    #[test]
    fn what_is_no_number_is_null() {
        let mut measurement = sample::measurement();
        measurement.signal.level = Some(Decibels(f64::NEG_INFINITY));
        measurement.signal.snr = Some(Decibels(f64::NAN));
        measurement.flutter.wow_rms = Some(Percent(f64::INFINITY));
        measurement.signal.dropouts[0].length = Seconds(f64::NAN);
        let line = measured(&measurement);
        for null in [
            r#""level_dbfs":null"#,
            r#""snr_db":null"#,
            r#""wow_rms_percent":null"#,
            r#""length_s":null"#,
        ] {
            assert!(line.contains(null), "{null} in {line}");
        }
        assert!(!line.contains("NaN") && !line.contains("inf"), "{line}");
    }

    #[test]
    fn without_a_tone_every_key_is_there_and_null() {
        let line = measured(&sample::without_tone());
        let value: serde_json::Value = serde_json::from_str(&line).expect("JSON");
        assert_eq!(value["signal"]["usable"], false);
        let figures = |key: &str| value[key].as_object().expect("an object").clone();
        for (key, count) in [
            ("drift", 3),
            ("stability", 2),
            ("flutter", 11),
            ("speed", 8),
        ] {
            let figures = figures(key);
            assert_eq!(figures.len(), count, "{key}");
            for (name, figure) in figures {
                let empty = figure.is_null()
                    || figure
                        .as_object()
                        .is_some_and(|parts| parts.values().all(serde_json::Value::is_null));
                assert!(empty, "{name} is {figure}");
            }
        }
    }

    #[test]
    fn an_unreadable_file_says_so_and_keeps_its_reference() {
        let conditions = Conditions::default();
        let line = line(&FileReport::of(
            "no\"tes.wav",
            FileResult::NotMeasured {
                code: CautionCode::FileUnreadable,
                conditions: &conditions,
                reason: "this is a text file",
            },
        ));
        let value: serde_json::Value = serde_json::from_str(&line).expect("JSON");
        assert_eq!(value["file"], "no\"tes.wav");
        assert_eq!(value["reference"]["hz"], 3150.0);
        assert_eq!(value["signal"]["usable"], false);
        assert!(value["signal"]["dropouts"].is_null());
        assert!(value["duration_s"].is_null() && value["channel"].is_null());
        assert_eq!(value["cautions"][0]["code"], "file_unreadable");
    }
}
