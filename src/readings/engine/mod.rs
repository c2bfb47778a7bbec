//! The only door of this floor: samples in, readings out.

mod events;
mod live;
mod outcome;
mod recorded;
mod steering;
mod sweeps;
mod trend;

use std::sync::Arc;

pub use self::recorded::recorded;
use self::sweeps::Sweeps;
use self::trend::Trend;
use crate::readings::belief::Belief;
use crate::readings::channels::LiveChannels;
use crate::readings::conditions::{Nominal, ReferenceKind};
use crate::readings::digits::Digits;
use crate::readings::flutter::FlutterMeter;
use crate::readings::followed::{Followed, Nothing};
use crate::readings::guidance::Guide;
use crate::readings::health::Health;
use crate::readings::holding::HoldCheck;
use crate::readings::ident::IdentListener;
use crate::readings::keep::Keeper;
use crate::readings::matching::{CopyTracker, RIGHT_HZ};
use crate::readings::settings::{EngineError, Settings};
use crate::readings::short::ShortRecord;
use crate::readings::stretch::Stretch;
use crate::readings::sweep::SweepRecorder;
use crate::readings::target::Target;
use crate::readings::timed::{self, LiveTimed};
use crate::readings::values::{ToneState, WrongTone};
use crate::readings::vibrato::VibratoMeter;
use crate::signal::demodulator::{MOST_TICKS, Plan};
use crate::signal::harmonics::tracker::NoteTracker;
use crate::signal::level::split;
use crate::signal::tracker::{Loss, MOST_CHANNELS, Track, Tracker};
use crate::units::Hertz;

/// The digits are made from the track at about this rate.
const DIGITS_HZ: f64 = 200.0;

/// Measures a stream of samples.
pub struct Engine {
    settings: Settings,
    plan: Plan,
    tracker: Box<dyn Followed>,
    health: Health,
    /// Samples of each channel that do not fill a tick yet.
    waiting: Vec<Vec<f32>>,
    /// Samples that clipped in each tick of a piece.
    clipped: Vec<u64>,
    frames: u64,
    /// What was lost in gaps, in seconds.
    skipped_s: f64,
    track: Vec<Track>,
    /// Ticks since the input began, and that of the value that comes next.
    ticks: u64,
    value_tick: u64,
    tone: ToneState,
    nominal: Option<Hertz>,
    /// Somebody looks on; a recording is one thing from end to end.
    is_live: bool,
    digits: Option<Digits>,
    digit_sum: (f64, u32),
    per_digit: u32,
    flutter: FlutterMeter,
    /// Values that the flutter meter has not got yet.
    flutter_waiting: Vec<f64>,
    /// Tick of the first of them.
    waiting_since_tick: u64,
    trend: Trend,
    wrong: Option<WrongTone>,
    whole: Stretch,
    short: ShortRecord,
    belief: Belief,
    keeper: Keeper,
    sweeps: Sweeps,
    guide: Guide,
    hold: Option<HoldCheck>,
    /// Only where the reference is a note.
    vibrato: Option<VibratoMeter>,
    channels: LiveChannels,
    /// Only where right speed is a time.
    timed: Option<Box<dyn LiveTimed>>,
    target: Target,
    /// `None` for recordings, whose ident is listened for beside the engine: it
    /// may stand outside what is measured.
    ident: Option<IdentListener>,
}

/// What follows a reference.
fn followed(settings: &Settings, target: &Target) -> Box<dyn Followed> {
    let (rate_hz, channels) = (settings.rate_hz, settings.listened().len());
    let conditions = &settings.conditions;
    match (target, conditions.kind, conditions.nominal) {
        (Target::Time(_), ..) => Box::new(Nothing),
        (Target::Copy(copy), ..) => Box::new(CopyTracker::new(rate_hz, channels, Arc::clone(copy))),
        (Target::Frequency, ReferenceKind::Note, Nominal::Fixed(note)) => {
            Box::new(NoteTracker::new(rate_hz, channels, note.0))
        }
        (Target::Frequency, ..) => Box::new(Tracker::new(rate_hz, channels)),
    }
}

impl Engine {
    /// An engine for one input format.
    pub fn new(settings: Settings) -> Result<Self, EngineError> {
        Self::by(settings, Target::Frequency)
    }

    /// The same by something else than a frequency.
    pub fn by(mut settings: Settings, target: Target) -> Result<Self, EngineError> {
        settings.check()?;
        if matches!(target, Target::Copy(_)) {
            settings.conditions.nominal = Nominal::Fixed(RIGHT_HZ);
        }
        let timed = match target {
            Target::Time(expected) => Some(timed::live(settings, expected)?),
            Target::Frequency | Target::Copy(_) => None,
        };
        let inputs = settings.inputs();
        let listened = settings.listened().len();
        let plan = Plan::new(settings.rate_hz);
        let rate = plan.output_rate_hz();
        let per_digit = (rate / DIGITS_HZ).round().max(1.0) as u32;
        let digit_rate_hz = rate / f64::from(per_digit);
        let mut engine = Self {
            settings,
            health: Health::new(settings.rate_hz, inputs, plan.tick()),
            waiting: vec![Vec::new(); inputs],
            clipped: Vec::new(),
            frames: 0,
            skipped_s: 0.0,
            track: Vec::new(),
            ticks: 0,
            value_tick: 0,
            tone: ToneState::Searching,
            nominal: settings.conditions.nominal.hz(),
            is_live: true,
            digits: None,
            digit_sum: (0.0, 0),
            per_digit,
            flutter: FlutterMeter::new(rate),
            flutter_waiting: Vec::with_capacity(2 * MOST_TICKS),
            waiting_since_tick: 0,
            trend: Trend::new(rate),
            wrong: None,
            whole: Stretch::new(rate),
            short: ShortRecord::new(settings.rate_hz, listened),
            belief: Belief::new(1.0 / rate),
            keeper: Keeper::new(rate),
            sweeps: Sweeps::default(),
            guide: Guide::new(digit_rate_hz),
            hold: None,
            vibrato: (settings.conditions.kind == ReferenceKind::Note)
                .then(|| VibratoMeter::new(digit_rate_hz)),
            channels: LiveChannels::default(),
            timed,
            tracker: followed(&settings, &target),
            target,
            ident: Some(IdentListener::new(settings.rate_hz, settings.channels)),
            plan,
        };
        engine.whole.flutter.lines.be_live();
        engine.set_ranges();
        Ok(engine)
    }

    /// Values of the digits a second: about [`DIGITS_HZ`], whole values of the
    /// track for each.
    fn digit_rate_hz(&self) -> f64 {
        self.plan.output_rate_hz() / f64::from(self.per_digit)
    }

    /// For recordings: leaves out what only [`Engine::reading`] needs.
    /// The live flutter figures stay empty, and what stands beside a steady
    /// tone is looked at less often.
    pub fn without_readings(mut self) -> Self {
        self.flutter.only_totals();
        self.whole = Stretch::new(self.plan.output_rate_hz());
        self.tracker.be_patient();
        self.ident = None;
        self.is_live = false;
        self
    }

    /// Takes interleaved samples, full scale ±1; any number of whole frames.
    /// Samples that are no number, or wildly beyond full scale, count as 0. With a tone
    /// the memory held does not grow with the length of the stream; places in a
    /// copy take 128 bytes a second, a passage or marks some megabytes.
    pub fn push(&mut self, interleaved: &[f32]) {
        let channels = usize::from(self.settings.channels);
        if let Some(timed) = &mut self.timed {
            timed.push(interleaved);
        }
        if let (Some(ident), Some(timed)) = (self.tape_ident(), &mut self.timed) {
            timed.tell_ident(ident);
        }
        let frames = MOST_TICKS * self.plan.tick();
        for piece in interleaved.chunks(frames * channels) {
            self.push_piece(piece);
        }
    }

    /// What is small enough to stay at hand.
    fn push_piece(&mut self, interleaved: &[f32]) {
        let channels = usize::from(self.settings.channels);
        let frames = interleaved.len() / channels;
        let waited = self.waiting[0].len();
        split(interleaved, channels, &mut self.waiting);
        self.frames += frames as u64;
        self.whole.frames += frames as u64;
        let listened = &self.waiting[self.settings.listened()];
        self.short.push(listened.iter().map(|all| &all[waited..]));
        if let Some(ident) = &mut self.ident {
            // Both channels, whichever is measured: one may be enough.
            ident.push(self.waiting.iter().map(|all| &all[waited..]));
        }
        let mut waiting = std::mem::take(&mut self.waiting);
        let tick = self.plan.tick();
        let ready = waiting[0].len() / tick * tick;
        let mut inputs: [&[f32]; MOST_CHANNELS] = [&[]; MOST_CHANNELS];
        for (slot, samples) in inputs.iter_mut().zip(&waiting) {
            *slot = &samples[..ready];
        }
        self.ticks(&mut inputs[..waiting.len()]);
        self.follow_flutter();
        for samples in &mut waiting {
            samples.drain(..ready);
        }
        self.waiting = waiting;
    }

    fn ticks(&mut self, inputs: &mut [&[f32]]) {
        let tick = self.plan.tick();
        let mut clipped = std::mem::take(&mut self.clipped);
        clipped.clear();
        clipped.resize(inputs[0].len() / tick, 0);
        self.health.take(inputs, &mut clipped);
        for &clipped in &clipped {
            self.whole.clipped += clipped;
            // Counted here, not as blocks come in: a stretch that is kept
            // lasts as long whatever their size.
            self.keeper.each(|stretch| {
                stretch.clipped += clipped;
                stretch.frames += tick as u64;
            });
            self.tick(inputs);
            for samples in &mut *inputs {
                *samples = &samples[tick..];
            }
        }
        self.clipped = clipped;
    }

    /// The first tick of the inputs.
    fn tick(&mut self, inputs: &[&[f32]]) {
        self.belief.tick();
        let mut track = std::mem::take(&mut self.track);
        self.tracker
            .tick(&inputs[self.settings.listened()], &mut track);
        self.ticks += 1;
        // The last of them is as old as the filters are late.
        let values = track.iter().filter(|it| matches!(it, Track::Value(_)));
        let late = values.count() as u64 + self.tracker.delay_ticks();
        self.value_tick = (self.ticks + 1).saturating_sub(late);
        for event in track.drain(..) {
            self.take(event);
        }
        self.track = track;
        if self.tracker.is_following() {
            self.judge_piece();
        } else {
            self.look_at_unwanted();
        }
        self.trend.tick(self.is_shown());
        self.sweeps.each(SweepRecorder::tick);
    }

    /// The input broke: `lost_frames` are missing before the next sample (0
    /// when unknown). No reading spans a gap.
    pub fn gap(&mut self, lost_frames: u64) {
        self.frames += lost_frames;
        // The tracker counts what it was given.
        let skipped = self.waiting[0].len() as u64 + lost_frames;
        self.skipped_s += skipped as f64 / f64::from(self.settings.rate_hz);
        let skipped_ticks = skipped / self.plan.tick() as u64;
        self.sweeps.each(|record| record.gap(skipped_ticks));
        for waiting in &mut self.waiting {
            waiting.clear();
        }
        if self.tracker.is_following() {
            self.end_piece(Loss::Gone);
        }
        self.tracker.gap();
        self.look_for_any();
        self.health.gap();
        self.channels = LiveChannels::default();
        self.whole.gaps += 1;
        self.whole.frames += lost_frames;
        self.short.end();
        self.keeper.disturbed();
        if let Some(timed) = &mut self.timed {
            timed.begin_anew();
        }
        if let (Some(ident), 0) = (&mut self.ident, lost_frames) {
            // Away for nobody knows how long: it may be another tape.
            *ident = IdentListener::new(self.settings.rate_hz, self.settings.channels);
        }
    }
}
