//! Measures a recording, straight from its decoder into an engine of its own.

use std::path::Path;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::cli::ReadOptions;
use super::copy;
use super::course::FileCourse;
use super::processor;
use super::read_words::{add_faults, beyond_the_end, why_unusable};
use super::steady::{self, can_be_read_again};
use super::stretch::{Source, Stretch, push_stretch};
use super::{Exit, Failure};
use crate::audio::recording::{Recording, RecordingError};
use crate::readings::contact::{ContactCheck, ContactReport, ContactVerdict};
use crate::readings::{
    Caution, CautionCode, Cut, EngineError, IdentListener, Measurement, Meter, Origin,
    ReferenceKind, SweepReport, TapeIdent, Target, TuningMeter, Unclear,
};
use crate::references::parts::{HeardAt, PartsCard, attribute};
use crate::references::{CONCERT_PITCH, Reference, same_machine};
use crate::report::tables::{self, Table};
use crate::report::{FileReport, FileResult, budget, json, several, text};
use crate::units::{Hertz, Seconds};

/// Behind an ident there is a pause of a second at right speed.
const BEHIND_IDENT_S: f64 = 2.0;

/// Length of the music whose tuning is looked at.
const TUNING_S: f64 = 300.0;

/// Why a file was not measured.
#[derive(Debug, thiserror::Error)]
enum NotMeasured {
    #[error(transparent)]
    Recording(#[from] RecordingError),
    #[error("{file}: {source}")]
    Engine { file: String, source: EngineError },
}

/// Contacts need sound, but no tone.
const NO_SOUND: &str =
    "too little sound to judge contacts by; record a tone or music while the control is worked";

/// The object of a file that was not looked at, for there is nothing to hold it
/// against.
pub(super) fn not_looked_at(options: &ReadOptions, path: &Path, failure: &Failure) -> String {
    not_measured(
        options,
        path,
        CautionCode::ReferenceNotFound,
        &failure.message,
    )
}

/// The object of a file of which nothing is known but why.
fn not_measured(options: &ReadOptions, path: &Path, code: CautionCode, reason: &str) -> String {
    let report = FileReport {
        file: &path.to_string_lossy(),
        result: FileResult::NotMeasured {
            conditions: &options.reference.conditions(options.machine.as_deref()),
            code,
            reason,
        },
        tolerance: options.tolerance,
        tape: options.reference.card.as_ref(),
        parts: options.parts.card.as_ref(),
        sweep: None,
        contact: options.contact.then_some(None),
    };
    written(options, &report)
}

/// What is written of a file.
fn written(options: &ReadOptions, report: &FileReport<'_>) -> String {
    if options.json {
        json::line(report) + "\n"
    } else {
        text::block(report)
    }
}

/// What came of a file.
#[derive(Debug, Deserialize, Serialize)]
pub(super) struct FileDone {
    pub exit: Exit,
    /// For standard error, a sentence each.
    pub complaints: Vec<String>,
    /// For standard output.
    pub text: String,
    /// Speed and flutter, for the summary of several files.
    pub figures: Option<several::Figures>,
    /// What two recordings of one control are compared by.
    #[serde(skip)]
    pub contact: Option<ContactReport>,
    /// What goes into a job, where one was named.
    #[serde(skip)]
    pub to_keep: Option<ToKeep>,
    /// What is exported, where that was asked for.
    #[serde(skip)]
    pub tables: Vec<Table>,
    /// Why they are not where they belong.
    #[serde(skip)]
    pub not_exported: Option<String>,
}

/// What a job keeps of a recording.
#[derive(Debug)]
pub(super) enum ToKeep {
    Measurement(Box<Measurement>),
    Wiper(Arc<SweepReport>),
}

impl FileDone {
    /// The program failed over this file, which is a fault of its own.
    pub(super) fn failed(options: &ReadOptions, path: &Path, what: &str) -> Self {
        let file = path.display();
        let reason = format!(
            "{file}: measuring it failed ({what}), which is a fault of this program; the other files are read"
        );
        Self {
            exit: Exit::File,
            text: not_measured(options, path, CautionCode::FileUnreadable, &reason),
            complaints: vec![reason],
            figures: None,
            contact: None,
            to_keep: None,
            tables: Vec::new(),
            not_exported: None,
        }
    }
}

/// Measures a file and says what is to be written about it; what went wrong, too.
pub(super) fn one_file(source: Source<'_>, target: &Target) -> FileDone {
    let Source { options, path, .. } = source;
    let file = path.to_string_lossy();
    let conditions = options.reference.conditions(options.machine.as_deref());
    let mut measured = measure(source, target).map_err(|error| error.to_string());
    let is_done = |it: &Measured| it.measurement.signal.usable || it.has_contact();
    let mut exit = Exit::Done;
    let mut complaints = Vec::new();
    if let Some(it) = measured.as_mut().ok().filter(|it| !is_done(it)) {
        let why = if options.contact {
            NO_SOUND.to_owned()
        } else {
            // Scripts read all cautions in the object, people both texts.
            why_unusable(&mut it.measurement, !options.json)
        };
        complaints.push(format!("{file}: {why}"));
        exit = Exit::NoReference;
    }
    let (exit, result) = match &measured {
        Ok(it) => (exit, FileResult::Measured(&it.measurement)),
        Err(reason) => {
            complaints.push(reason.clone());
            let result = FileResult::NotMeasured {
                conditions: &conditions,
                code: CautionCode::FileUnreadable,
                reason,
            };
            (Exit::File, result)
        }
    };
    let without_tone = SweepReport::unclear(Unclear::NoTone);
    let sweep = options.sweep.then(|| match &measured {
        Ok(Measured {
            sweep: Some(sweep), ..
        }) => &**sweep,
        _ => &without_tone,
    });
    let report = FileReport {
        file: &file,
        result,
        tolerance: options.tolerance,
        tape: options.reference.card.as_ref(),
        parts: options.parts.card.as_ref(),
        sweep,
        contact: options
            .contact
            .then(|| measured.as_ref().ok()?.contact.as_ref()),
    };
    let mut text = written(options, &report);
    if let (true, Ok(Measured { measurement, .. })) = (options.budget, &measured) {
        text.push_str(&budget::lines(measurement));
    }
    let tables = if options.export.is_some() {
        tables::of_file(&report)
    } else {
        Vec::new()
    };
    // Of a speed that was turned through its range there is none to be told.
    let steady = measured.as_ref().ok().filter(|_| !options.sweep);
    FileDone {
        exit,
        complaints,
        text,
        figures: steady.and_then(|it| several::Figures::of(&it.measurement)),
        contact: measured.as_ref().ok().and_then(|it| it.contact.clone()),
        to_keep: measured.ok().and_then(|it| it.into_kept(options)),
        tables,
        not_exported: None,
    }
}

/// A measurement, and what came of the checks that were asked for.
struct Measured {
    measurement: Measurement,
    sweep: Option<Arc<SweepReport>>,
    contact: Option<ContactReport>,
}

impl Measured {
    /// Only what could be read goes into a job.
    fn into_kept(self, options: &ReadOptions) -> Option<ToKeep> {
        options.job.job.as_ref()?;
        if options.sweep {
            return self.sweep.map(ToKeep::Wiper);
        }
        let measurement = Some(self.measurement).filter(|it| it.signal.usable);
        measurement.map(|it| ToKeep::Measurement(Box::new(it)))
    }

    /// Whether contacts could be judged; that needs sound, but no tone.
    fn has_contact(&self) -> bool {
        let judged = |it: &ContactReport| it.verdict() != ContactVerdict::NoSignal;
        self.contact.as_ref().is_some_and(judged)
    }
}

/// The card is that of a tape that carries something else.
fn other_than_card(options: &ReadOptions) -> Option<Caution> {
    let card = options.reference.card.as_ref()?;
    let carries = card.reference()?;
    let reference = options.reference.reference();
    (carries != reference).then(|| {
        let both = [carries, reference].map(|it| it.to_string());
        Caution::Contradicts(both, Some(card.name.clone()))
    })
}

/// The figures of one recording, for who needs nothing else.
pub(super) fn measured(options: &ReadOptions, path: &Path) -> Result<Measurement, Failure> {
    let target = copy::target(&options.reference.reference())?;
    let course = FileCourse::alone();
    let source = Source {
        options,
        path,
        course: &course,
    };
    let measured =
        measure(source, &target).map_err(|error| Failure::new(Exit::File, error.to_string()))?;
    let mut measurement = measured.measurement;
    if measurement.signal.usable {
        return Ok(measurement);
    }
    let file = path.display();
    let why = why_unusable(&mut measurement, false);
    Err(Failure::new(Exit::NoReference, format!("{file}: {why}")))
}

fn measure(source: Source<'_>, target: &Target) -> Result<Measured, NotMeasured> {
    let Source { options, path, .. } = source;
    let mut recording = Recording::open_taking(path, options.reference.channel.pick())?;
    let format = recording.format();
    let mut processor =
        processor::of(options, format, target).map_err(|source| NotMeasured::Engine {
            file: path.display().to_string(),
            source,
        })?;
    let stretch = Stretch::new(options, format.rate_hz);
    let mut contact = options
        .contact
        .then(|| ContactCheck::new(format.rate_hz, format.channels));
    let mut ident = IdentListener::new(format.rate_hz, format.channels).of_recording();
    let reached_end = push_stretch(&mut recording, stretch, source.course, |samples, begins| {
        // What the tape says of itself counts wherever it stands.
        ident.push_interleaved(samples, format.channels);
        let samples = &samples[begins..];
        if samples.is_empty() {
            return;
        }
        processor.push(samples);
        if let Some(contact) = &mut contact {
            contact.push(samples);
        }
    });
    let mut measurement = processor.measurement();
    let by_ident = ident
        .newest_at()
        .and_then(|at| programme_tone(&measurement, source, at));
    let cut = || {
        let parts = processor.parts()?;
        steady::measured(&measurement, &parts, source, stretch)
    };
    if let Some(part) = by_ident.or_else(cut) {
        measurement = part;
    }
    measurement.cautions.extend(other_than_card(options));
    take_origin(
        &mut measurement,
        ident.newest().map(TapeIdent::from),
        options,
    );
    if recording.read_frames() <= stretch.from && stretch.from > 0 {
        measurement
            .cautions
            .push(beyond_the_end(&recording, format.rate_hz));
    }
    let again = can_be_read_again(path);
    if ident.newest().is_some() && !again {
        measurement.cautions.push(Caution::ThroughPipe);
    }
    let reference = options.reference.reference();
    let is_named = matches!(reference, Reference::Tone(_))
        && !measurement.signal.usable
        && again
        && name_the_other_tone(&mut measurement, source);
    let by_frequency = reference.kind().has_frequency();
    if !measurement.signal.usable && again && by_frequency && !is_named {
        add_tuning(&mut measurement, source);
    }
    hold_against_parts(&mut measurement, options.parts.card.as_ref());
    let mut faults = recording.faults();
    faults.cut_short &= reached_end;
    add_faults(&mut measurement, &faults, &recording);
    Ok(Measured {
        measurement,
        sweep: processor.end_sweep(),
        contact: contact.map(|mut contact| contact.report()),
    })
}

/// Names the parts behind the lines, where there is a card of them.
fn hold_against_parts(measurement: &mut Measurement, card: Option<&PartsCard>) {
    let recorded_here = measurement.conditions.reference.recorded_here;
    let (Some(lines), Some(speed), Some(card)) = (&mut measurement.lines, &measurement.speed, card)
    else {
        return;
    };
    attribute(lines, card, &HeardAt::of(speed, recorded_here, None));
    if card.generic && !lines.lines.is_empty() {
        let name = card.name.clone();
        measurement.cautions.push(Caution::GenericParts(name));
    }
}

/// A whole programme has more than the tone on it, and what stands between is
/// no loss and no move: the tone behind its last ident is read by itself. `None`
/// where there is no need, or somebody has chosen a stretch.
fn programme_tone(
    whole: &Measurement,
    source: Source<'_>,
    ident_ended: u64,
) -> Option<Measurement> {
    let Source { options, path, .. } = source;
    let several = whole.has(CautionCode::ToneLost) || whole.has(CautionCode::SpeedMoved);
    let chosen = options.from.is_some() || options.to.is_some();
    let checks = options.sweep || options.contact;
    let by_tone = options.reference.reference().kind() == ReferenceKind::Tone;
    if !several || chosen || checks || !by_tone || !can_be_read_again(path) {
        return None;
    }
    let behind = |rate_hz: u32| Stretch {
        from: ident_ended + (BEHIND_IDENT_S * f64::from(rate_hz)) as u64,
        to: u64::MAX,
    };
    let (processor, stretch) = read_again(source, behind)?;
    let mut part = processor.measurement();
    if let Some(cut) =
        (processor.parts()).and_then(|parts| steady::measured(&part, &parts, source, stretch))
    {
        part = cut;
    }
    if !part.signal.usable || part.has(CautionCode::SpeedMoved) {
        return None;
    }
    part.cut.get_or_insert(Cut {
        from: Seconds(0.0),
        to: part.duration,
        run_up: Seconds(0.0),
        run_down: Seconds(0.0),
        stretches: Vec::new(),
    });
    // Nobody has chosen the stretch, so times are those of the recording.
    let begins = Seconds(stretch.from as f64 / f64::from(part.rate_hz));
    part.take_place_of(whole, begins);
    // One loss is the end of the tone; more are losses.
    part.cautions.retain(|it| *it != Caution::ToneLost(1));
    part.cautions.push(Caution::PartRead(begins));
    Some(part)
}

/// The recording may carry another of the usual tones: says which, as the live
/// screen does. True where it does. Only what would be read counts: a note of a
/// melody is no test tone.
fn name_the_other_tone(measurement: &mut Measurement, source: Source<'_>) -> bool {
    let options = source.options;
    let mut any = options.reference.clone();
    any.say(Some(Reference::ToneAuto), None);
    let any = ReadOptions {
        from: options.from,
        to: options.to,
        ..ReadOptions::of_reference(any)
    };
    let Some(found) = by_any_tone(Source {
        options: &any,
        ..source
    }) else {
        return false;
    };
    let speed = found.speed.as_ref().and_then(|speed| speed.measured);
    // As far off as that, it is more likely something else.
    let near = |(heard, tone): &(Hertz, Hertz)| (heard.0 / tone.0 - 1.0).abs() <= 0.1;
    let Some((heard, tone)) = speed.zip(found.nominal).filter(near) else {
        return false;
    };
    replace_not_found(measurement, Caution::AnotherTone(heard, tone));
    true
}

/// The measurement by whichever usual tone is found, if one is.
fn by_any_tone(source: Source<'_>) -> Option<Measurement> {
    if !can_be_read_again(source.path) {
        return None;
    }
    let (processor, _) = read_again(source, |rate_hz| Stretch::new(source.options, rate_hz))?;
    Some(processor.measurement()).filter(|it| it.signal.usable)
}

/// A stretch once more, by its tone.
fn read_again(
    source: Source<'_>,
    stretch: impl FnOnce(u32) -> Stretch,
) -> Option<(Box<dyn Meter>, Stretch)> {
    let Source { options, path, .. } = source;
    let mut recording = Recording::open_taking(path, options.reference.channel.pick()).ok()?;
    let format = recording.format();
    let mut processor = processor::of(options, format, &Target::Frequency).ok()?;
    let stretch = stretch(format.rate_hz);
    push_stretch(&mut recording, stretch, source.course, |samples, begins| {
        processor.push(&samples[begins..]);
    });
    Some((processor, stretch))
}

/// What was found after all stands in place of what was said of the tone.
fn replace_not_found(measurement: &mut Measurement, by: Caution) {
    let mut cautions = measurement.cautions.iter_mut();
    if let Some(caution) = cautions.find(|it| it.code() == CautionCode::ToneNotFound) {
        *caution = by;
    }
}

/// Where there is neither tone nor note there may be music: its tuning is a
/// hint. Read once more for that, for it is seldom wanted.
fn add_tuning(measurement: &mut Measurement, source: Source<'_>) {
    let Source { options, path, .. } = source;
    let Ok(mut recording) = Recording::open_taking(path, options.reference.channel.pick()) else {
        return;
    };
    let format = recording.format();
    let mut stretch = Stretch::new(options, format.rate_hz);
    let most = (TUNING_S * f64::from(format.rate_hz)) as u64;
    stretch.to = stretch.to.min(stretch.from.saturating_add(most));
    let concert_pitch = match options.reference.reference() {
        Reference::Note(_, pitch) => pitch,
        _ => CONCERT_PITCH,
    };
    let mut meter = TuningMeter::new(format.rate_hz, format.channels, concert_pitch);
    push_stretch(&mut recording, stretch, source.course, |samples, begins| {
        meter.push(&samples[begins..]);
    });
    if let Some(hint) = meter.hint() {
        if options.reference.reference().kind() == ReferenceKind::Tone {
            // A note that stood out for a while is no tone of a test tape.
            replace_not_found(measurement, Caution::Music);
        }
        measurement.cautions.push(Caution::Tuning(hint));
        measurement.tuning = Some(hint);
    }
}

/// Where the tape was recorded, as it or somebody says, or the question. One that
/// was recorded on the machine under test judges nothing.
fn take_origin(measurement: &mut Measurement, ident: Option<TapeIdent>, options: &ReadOptions) {
    let of_ident = ident.as_ref().map(|it| it.machine.as_str());
    let machine = options.machine.as_deref();
    let said = options.recorded_on.as_deref();
    if [of_ident, said].iter().any(|it| same_machine(*it, machine)) {
        measurement.tell_recorded_here();
    }
    if let Some(ident) = ident {
        measurement.tell_ident(ident);
    }
    if let Some(said) = said {
        measurement.answer_where_recorded(&Origin::Said(said.to_owned()));
    }
}
