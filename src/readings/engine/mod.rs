//! The only door of this floor: samples in, readings out.

mod ears;
mod live;
mod sweeps;
mod trend;

use std::ops::Range;

use self::ears::Ears;
use self::sweeps::Sweeps;
use self::trend::Trend;
use crate::readings::assemble::{Surroundings, assemble};
use crate::readings::belief::Belief;
use crate::readings::conditions::{ChannelChoice, Conditions, Nominal, ReferenceKind, USUAL_TONES};
use crate::readings::digits::{Digits, Motion};
use crate::readings::flutter::FlutterMeter;
use crate::readings::guidance::Guide;
use crate::readings::health::{Health, channels_disagree, tone_power};
use crate::readings::holding::HoldCheck;
use crate::readings::ident::{IdentListener, TapeIdent};
use crate::readings::judge::{self, CAPTURE, Choice};
use crate::readings::keep::Keeper;
use crate::readings::matching::{CopyTracker, RIGHT_HZ, told};
use crate::readings::notes::{self, VibratoMeter};
use crate::readings::reading::{ChannelUsed, Measurement, ToneState, WrongTone};
use crate::readings::short::ShortRecord;
use crate::readings::stretch::Stretch;
use crate::readings::timed::LiveTimed;
use crate::readings::without_tone::Heard;
use crate::readings::yardstick::Yardstick;
use crate::signal::demodulator::MOST_TICKS;
use crate::signal::level::tame;
use crate::signal::tracker::{ChannelQuality, Loss, MOST_CHANNELS, Track};
use crate::units::{Hertz, Percent, Seconds};

/// How to measure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Samples a second.
    pub rate_hz: u32,
    /// Interleaved channels; beyond two the first two are listened to.
    pub channels: u16,
    /// Which of them.
    pub choice: ChannelChoice,
    /// Against what.
    pub conditions: Conditions,
    /// Half width of the tolerance band: the digits count as settled when
    /// their mean is known well within it.
    pub tolerance: Percent,
}

impl Settings {
    /// Channels that there are, beyond two the first two.
    pub(super) fn inputs(&self) -> usize {
        usize::from(self.channels).min(MOST_CHANNELS)
    }

    /// Which of them are listened to.
    pub(super) fn listened(&self) -> Range<usize> {
        let inputs = self.inputs();
        match self.choice {
            ChannelChoice::Auto => 0..inputs,
            ChannelChoice::Left => 0..1,
            ChannelChoice::Right => inputs - 1..inputs,
        }
    }

    /// Whether anything can be measured in this format.
    pub(super) fn check(&self) -> Result<(), EngineError> {
        if !(8000..=768_000).contains(&self.rate_hz) {
            return Err(EngineError::Rate(self.rate_hz));
        }
        if self.channels == 0 {
            return Err(EngineError::NoChannel);
        }
        Ok(())
    }
}

/// How long a kept stretch is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeepRequest {
    /// At least this much valid signal.
    pub at_least: Seconds,
    /// At most this much, however unsteady.
    pub at_most: Seconds,
}

/// Why no engine can be had for an input.
#[derive(Debug, thiserror::Error, PartialEq)]
pub enum EngineError {
    /// Too slow a sample rate to carry a test tone, or absurdly fast.
    #[error(
        "the sample rate is {0} Hz; this needs 8000 to 768000 Hz, so record again at 44100 or 48000 Hz"
    )]
    Rate(u32),
    /// No channel.
    #[error("the input has no channel; choose another input or record again")]
    NoChannel,
}

/// The digits are made from the track at about this rate.
const DIGITS_HZ: f64 = 200.0;

/// Quieter than this (mean square; −87 dB of a full-scale sine) is silence.
const SILENCE: f64 = 1e-9;

/// In a shorter record there is no time to follow a tone and to believe it.
const TOO_SHORT_TO_FOLLOW_S: f64 = 0.3;

/// Measures a stream of samples.
pub struct Engine {
    settings: Settings,
    tracker: Ears,
    health: Health,
    /// Samples of each channel that do not fill a tick yet.
    waiting: Vec<Vec<f32>>,
    /// Samples that clipped in each tick of a piece.
    clipped: Vec<u64>,
    frames: u64,
    /// What was lost in gaps, in seconds.
    skipped_s: f64,
    track: Vec<Track>,
    tone: ToneState,
    nominal: Option<Hertz>,
    nominal_confirmed: bool,
    digits: Option<Digits>,
    digit_sum: (f64, u32),
    per_digit: u32,
    flutter: FlutterMeter,
    /// Values that the flutter meter has not got yet.
    flutter_waiting: Vec<f64>,
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
    /// Only where right speed is a time.
    timed: Option<LiveTimed>,
    yardstick: Yardstick,
    /// `None` for recordings, whose ident is listened for beside the engine: it
    /// may stand outside what is measured.
    ident: Option<IdentListener>,
}

impl Engine {
    /// An engine for one input format.
    pub fn new(settings: Settings) -> Result<Self, EngineError> {
        Self::by(settings, Yardstick::Frequency)
    }

    /// The same by something else than a frequency.
    pub fn by(mut settings: Settings, yardstick: Yardstick) -> Result<Self, EngineError> {
        settings.check()?;
        if matches!(yardstick, Yardstick::Copy(_)) {
            settings.conditions.nominal = Nominal::Fixed(RIGHT_HZ);
        }
        let timed = match yardstick {
            Yardstick::Time(expected) => Some(LiveTimed::new(settings, expected)?),
            Yardstick::Frequency | Yardstick::Copy(_) => None,
        };
        let inputs = settings.inputs();
        let listened = settings.listened().len();
        let tracker = Ears::new(settings.rate_hz, listened, &settings.conditions, &yardstick);
        let rate = tracker.plan().output_rate_hz();
        let mut engine = Self {
            settings,
            health: Health::new(settings.rate_hz, inputs, tracker.plan().tick()),
            waiting: vec![Vec::new(); inputs],
            clipped: Vec::new(),
            frames: 0,
            skipped_s: 0.0,
            track: Vec::new(),
            tone: ToneState::Searching,
            nominal: match settings.conditions.nominal {
                Nominal::Fixed(hz) => Some(hz),
                Nominal::Nearest => None,
            },
            nominal_confirmed: false,
            digits: None,
            digit_sum: (0.0, 0),
            per_digit: (rate / DIGITS_HZ).round().max(1.0) as u32,
            flutter: FlutterMeter::new(rate),
            flutter_waiting: Vec::with_capacity(2 * MOST_TICKS),
            trend: Trend::new(rate),
            wrong: None,
            whole: Stretch::new(rate),
            short: ShortRecord::new(settings.rate_hz, listened),
            belief: Belief::new(1.0 / rate),
            keeper: Keeper::new(rate),
            sweeps: Sweeps::default(),
            guide: Guide::new(DIGITS_HZ),
            hold: None,
            vibrato: (settings.conditions.kind == ReferenceKind::Note)
                .then(|| VibratoMeter::new(DIGITS_HZ)),
            timed,
            yardstick,
            ident: Some(IdentListener::new(settings.rate_hz, settings.channels)),
            tracker,
        };
        engine.set_ranges();
        Ok(engine)
    }

    /// For recordings: leaves out what only [`Engine::reading`] needs.
    /// The live flutter figures stay empty, and what stands beside a steady
    /// tone is looked at less often.
    pub fn without_readings(mut self) -> Self {
        self.flutter.only_totals();
        self.tracker.be_patient();
        self.ident = None;
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
            timed.tell_ident(&ident);
        }
        let frames = MOST_TICKS * self.tracker.plan().tick();
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
        let tick = self.tracker.plan().tick();
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
        let tick = self.tracker.plan().tick();
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
        self.sweeps.tick();
    }

    fn take(&mut self, event: Track) {
        match event {
            Track::Found { hz } => self.found(hz),
            Track::Value(value) => self.value(value.hz),
            Track::Dropout { start_s, length_s } => {
                let start = Seconds(start_s.max(0.0) + self.skipped_s);
                let length = Seconds(length_s);
                if self.whole.dropout(start, length) {
                    self.health.dropout();
                }
                self.keeper.dropout(start, length);
            }
            Track::Checked { beside } => {
                let band_hz = self.tracker.band_hz();
                self.health.remember_band(band_hz);
                self.whole.reached(band_hz);
                self.keeper.each(|stretch| stretch.reached(band_hz));
                let sum = self.health.checked(&beside, &self.tracker.quality());
                self.whole.check(&sum);
                self.keeper.each(|stretch| stretch.check(&sum));
            }
            Track::Lost(loss) => {
                self.whole.losses += 1;
                self.end_piece(loss);
                self.keeper.disturbed();
                self.health.lost();
            }
        }
    }

    /// What was followed has ended: it counts, or is as if it had never been.
    fn end_piece(&mut self, loss: Loss) {
        self.follow_flutter();
        if self.tone == ToneState::Locked {
            self.tone = ToneState::Lost;
        }
        let Some(piece) = self.tracker.witness() else {
            return;
        };
        if let Some((before, nominal)) = self.belief.end(piece, loss) {
            self.whole = self.whole.replaced_by(before);
            if self.nominal != nominal {
                self.nominal = nominal;
                self.set_ranges();
            }
        }
    }

    /// A tone that is followed is shown when it is believed.
    fn judge_piece(&mut self) {
        let Some(piece) = self.tracker.witness() else {
            return;
        };
        let leaping = self.digits.as_ref().is_some_and(Digits::is_leaping);
        let shown = self.belief.look(piece) && !leaping;
        match (shown, self.tone) {
            (true, ToneState::Locked) => {}
            (true, _) => {
                self.tone = ToneState::Locked;
                self.wrong = None;
            }
            (false, ToneState::Locked) => {
                self.tone = ToneState::Searching;
                self.keeper.disturbed();
            }
            (false, _) => {}
        }
    }

    fn is_shown(&self) -> bool {
        self.tracker.is_following() && self.tone == ToneState::Locked
    }

    fn found(&mut self, hz: f64) {
        self.follow_flutter();
        self.belief.begin(&self.whole, self.nominal);
        if matches!(self.tone, ToneState::Wrong(_)) {
            self.tone = ToneState::Searching;
        }
        if self.nominal.is_none() {
            self.nominal = Some(judge::nearest_usual(Hertz(hz)));
            self.set_ranges();
        }
        let nominal = self.nominal.map_or(hz, |nominal| nominal.0);
        let rate = self.tracker.plan().output_rate_hz() / f64::from(self.per_digit);
        // What was learnt about another tone is in its hertz, not in ours.
        self.digits.take_if(|digits| !digits.is_for(nominal));
        self.digits
            .get_or_insert_with(|| Digits::new(rate, nominal))
            .begin();
        self.digit_sum = (0.0, 0);
        self.flutter.restart();
        self.trend.begin_anew();
        self.whole.found();
        self.keeper.disturbed();
        self.sweeps.found();
        self.guide.lost();
        if let Some(vibrato) = &mut self.vibrato {
            vibrato.interrupt();
        }
        self.hold.iter_mut().for_each(HoldCheck::disturbed);
    }

    fn value(&mut self, hz: f64) {
        let quality = self.tracker.quality();
        self.belief.heard(quality.map(|quality| {
            if quality.weight > 0.0 {
                quality.tone_power
            } else {
                0.0
            }
        }));
        let used = self.channel_of(&quality);
        let tone_power = tone_power(&quality);
        let disagree = channels_disagree(&quality, hz);
        self.whole.value(hz, tone_power, used, disagree);
        self.keeper
            .each(|stretch| stretch.value(hz, tone_power, used, disagree));
        self.flutter_waiting.push(hz);
        if self.keeper.is_busy() {
            self.follow_flutter();
        }
        self.trend.value(hz);
        self.digit_sum.0 += hz;
        self.digit_sum.1 += 1;
        if self.digit_sum.1 == self.per_digit {
            let mean = self.digit_sum.0 / f64::from(self.digit_sum.1);
            self.digit_sum = (0.0, 0);
            self.digit(mean);
        }
    }

    /// Gives the flutter meter what waits for it: many values at once cost less.
    fn follow_flutter(&mut self) {
        let waiting = &self.flutter_waiting;
        match self.keeper.flutter_totals() {
            Some(kept) => self
                .flutter
                .push(waiting, &mut [&mut self.whole.flutter, kept]),
            None => self.flutter.push(waiting, &mut [&mut self.whole.flutter]),
        }
        self.flutter_waiting.clear();
    }

    fn digit(&mut self, hz: f64) {
        self.sweeps.push(hz);
        let Some(digits) = &mut self.digits else {
            return;
        };
        let motion = digits.push(hz);
        if let Some(vibrato) = &mut self.vibrato {
            vibrato.push(hz);
        }
        if let Some(hold) = &mut self.hold {
            hold.push(hz);
            if motion == Motion::Moved {
                hold.disturbed();
            }
        }
        if motion == Motion::Moved {
            self.follow_flutter();
            self.flutter.restart();
            self.whole.moved();
            self.trend.begin_anew();
            self.keeper.disturbed();
            self.guide.has_moved();
        }
        self.follow_guide(hz);
        self.advance_keeper();
    }

    fn advance_keeper(&mut self) {
        if !self.keeper.is_busy() {
            return;
        }
        let Some(digits) = &self.digits else { return };
        let steady = self.is_shown() && !digits.is_moving() && digits.holds_a_period();
        let period_s = digits.period_s();
        let known = self
            .scatter()
            .map(|scatter| scatter.0 / self.settings.tolerance.0);
        if let Some(stretch) = self.keeper.advance(steady, period_s, known) {
            let measurement = self.finished(&stretch);
            self.keeper.finish(measurement);
        }
    }

    fn tape_ident(&self) -> Option<TapeIdent> {
        Some(self.ident.as_ref()?.of_this_tape()?.into())
    }

    fn look_at_unwanted(&mut self) {
        if let Some(hz) = self.tracker.unwanted_hz() {
            let wrong = WrongTone {
                heard: Hertz(hz),
                likely: judge::likely(Hertz(hz), self.nominal),
            };
            self.wrong = Some(wrong);
            self.tone = ToneState::Wrong(wrong);
        } else if matches!(self.tone, ToneState::Wrong(_)) {
            self.tone = ToneState::Searching;
        }
    }

    /// The input broke: `lost_frames` are missing before the next sample (0
    /// when unknown). No reading spans a gap.
    pub fn gap(&mut self, lost_frames: u64) {
        self.frames += lost_frames;
        // The tracker counts what it was given.
        let skipped = self.waiting[0].len() as u64 + lost_frames;
        self.skipped_s += skipped as f64 / f64::from(self.settings.rate_hz);
        self.sweeps.gap(skipped / self.tracker.plan().tick() as u64);
        for waiting in &mut self.waiting {
            waiting.clear();
        }
        if self.tracker.is_following() {
            self.end_piece(Loss::Gone);
        }
        self.tracker.gap();
        self.health.gap();
        self.whole.gaps += 1;
        self.whole.frames += lost_frames;
        self.short.end();
        self.keeper.disturbed();
        if let Some(timed) = &mut self.timed {
            timed.gap();
        }
        if let (Some(ident), 0) = (&mut self.ident, lost_frames) {
            // Away for nobody knows how long: it may be another tape.
            *ident = IdentListener::new(self.settings.rate_hz, self.settings.channels);
        }
    }

    /// The measurement over everything pushed so far (for recordings).
    pub fn measurement(&self) -> Measurement {
        let duration_s = self.whole.frames as f64 / f64::from(self.settings.rate_hz);
        let piece = self.tracker.witness();
        let piece = piece.filter(|_| self.tracker.is_following());
        let (believed, instead) = self.belief.verdict(piece, duration_s, self.energy());
        let mut around = self.surroundings();
        around.believed = believed;
        if self.is_note() {
            let stretch = instead.map_or_else(
                || self.whole.clone(),
                |before| self.whole.replaced_by(before.clone()),
            );
            return self.as_note(assemble(&stretch, &around));
        }
        let direct = self.short.direct(&self.ranges_hz());
        // Too short to be followed, the fit alone has to do.
        let direct = direct.filter(|_| believed || duration_s < TOO_SHORT_TO_FOLLOW_S);
        if let Some(direct) = direct {
            let heard = Hertz(direct.hz);
            around.believed = true;
            around.nominal = Some(self.nominal.unwrap_or_else(|| judge::nearest_usual(heard)));
            around.channel = direct.channel(around.channel);
            return assemble(&self.whole.clone().with(direct), &around);
        }
        match instead {
            Some(before) => assemble(&self.whole.replaced_by(before.clone()), &around),
            None => assemble(&self.whole, &around),
        }
    }

    /// The measurement of a stretch that has just ended.
    fn finished(&self, stretch: &Stretch) -> Measurement {
        let assembled = assemble(stretch, &self.surroundings());
        let mut measurement = match self.tracker.copy() {
            Some(copy) => self.as_copied(assembled, stretch, copy),
            None => self.as_note(assembled),
        };
        if let Some(ident) = self.tape_ident() {
            measurement.tell_ident(ident);
        }
        measurement
    }

    /// The same by the places in the copy, which tell the speed more closely
    /// than the track that was made from them; drift is the track's.
    fn as_copied(
        &self,
        assembled: Measurement,
        stretch: &Stretch,
        copy: &CopyTracker,
    ) -> Measurement {
        let to_s = copy.told_s();
        let report = copy.report_over(to_s - stretch.track_s(), to_s);
        let heard = Heard {
            settings: &self.settings,
            from: "a recording",
            has_drift: assembled.drift.is_some(),
            frames: stretch.frames,
            clipped: stretch.clipped,
            channel: assembled.channel,
            level: assembled.signal.level,
            snr: None,
        };
        Measurement {
            drift: assembled.drift,
            along: assembled.along,
            stability: assembled.stability,
            ..told(&report, heard)
        }
    }

    fn is_note(&self) -> bool {
        self.settings.conditions.kind == ReferenceKind::Note
    }

    /// With what holds for notes only, where the reference is one.
    fn as_note(&self, measurement: Measurement) -> Measurement {
        if !self.is_note() {
            return measurement;
        }
        let vibrato = self.vibrato.as_ref().and_then(VibratoMeter::whole);
        let two_things = self.tracker.has_conflict() || self.whole.channels_disagree();
        notes::finish(measurement, self.tracker.note(), vibrato, two_things)
    }

    /// Energy of the channels that are listened to.
    fn energy(&self) -> [f64; MOST_CHANNELS] {
        let mut energy = [0.0; MOST_CHANNELS];
        let first = self.settings.listened().start;
        for (slot, heard) in energy.iter_mut().zip(self.health.energy().skip(first)) {
            *slot = heard;
        }
        energy
    }

    /// Nothing could be heard in any channel that is listened to.
    fn is_silent(&self) -> bool {
        let heard_s = self.whole.frames as f64 / f64::from(self.settings.rate_hz);
        let is_silent = |energy: f64| energy <= SILENCE * heard_s;
        self.energy().into_iter().all(is_silent)
    }

    /// Chooses another nominal tone; nothing measured so far is lost.
    pub fn set_nominal(&mut self, nominal: Nominal) {
        if self.settings.conditions.kind != ReferenceKind::Tone {
            // Usual tones are what is chosen from: other ears for them.
            let mut conditions = self.settings.conditions;
            conditions.kind = ReferenceKind::Tone;
            conditions.nominal = nominal;
            self.other_reference(conditions, Yardstick::Frequency);
            return;
        }
        self.settings.conditions.nominal = nominal;
        self.nominal_confirmed = true;
        self.wrong = None;
        self.keeper.disturbed();
        let was_following = self.tracker.is_following();
        let followed = self.digits.as_ref().filter(|_| was_following);
        let heard = followed.and_then(Digits::hz);
        self.nominal = match nominal {
            Nominal::Fixed(hz) => Some(hz),
            Nominal::Nearest => heard.map(|hz| judge::nearest_usual(Hertz(hz))),
        };
        self.belief.chosen(self.nominal);
        self.set_ranges();
        if was_following && !self.tracker.is_following() {
            self.end_piece(Loss::Gone);
        }
        if !self.tracker.is_following() {
            self.tone = ToneState::Searching;
        }
    }

    /// Another speed or direction of the machine, with its own nominal tone:
    /// begins anew, since nothing that was learnt need hold there. Time goes
    /// on.
    pub fn other_run(&mut self, nominal: Nominal) {
        let conditions = Conditions {
            nominal,
            ..self.settings.conditions
        };
        self.other_reference(conditions, self.yardstick.clone());
    }

    /// Another reference: begins anew, time goes on.
    pub fn other_reference(&mut self, conditions: Conditions, yardstick: Yardstick) {
        let settings = Settings {
            conditions,
            ..self.settings
        };
        // The format has been taken once already.
        let Ok(mut anew) = Self::by(settings, yardstick) else {
            return;
        };
        anew.frames = self.frames;
        anew.skipped_s = self.frames as f64 / f64::from(settings.rate_hz);
        // The tape may be the same.
        anew.ident = self.ident.take();
        *self = anew;
    }

    /// Another tolerance band.
    pub fn set_tolerance(&mut self, tolerance: Percent) {
        self.settings.tolerance = tolerance;
    }

    /// Begins to keep a stretch; see [`Reading::keeping`](crate::readings::Reading::keeping).
    pub fn keep(&mut self, request: KeepRequest) {
        match &mut self.timed {
            Some(timed) => timed.keep(request),
            None => self.keeper.begin(request),
        }
    }

    /// A passage begins or ends now, as somebody hears it.
    pub fn edge_by_hand(&mut self) {
        if let Some(timed) = &mut self.timed {
            timed.edge_by_hand();
        }
    }

    /// The tool is taken away now: does the speed hold? See
    /// [`Reading::holding`](crate::readings::Reading::holding); there is no
    /// answer where the mean until now is not known.
    pub fn hands_off(&mut self) {
        self.hold = self.digits.as_ref().and_then(|digits| {
            let (mean, scatter) = digits.hz().zip(digits.scatter_hz())?;
            Some(HoldCheck::begin(digits.rate_hz(), mean, scatter))
        });
    }

    /// Forgets that question.
    pub fn hands_on(&mut self) {
        self.hold = None;
    }

    /// No more samples will come: a stretch that is being kept ends with what
    /// there is, if that is worth keeping.
    pub fn end_of_input(&mut self) {
        self.follow_flutter();
        if let Some(timed) = &mut self.timed {
            timed.end_of_input();
        }
        if let Some(stretch) = self.keeper.end() {
            let measurement = self.finished(&stretch);
            self.keeper.finish(measurement);
        }
    }

    /// Stops keeping, or forgets a stretch that is done.
    pub fn forget_kept(&mut self) {
        self.keeper.forget();
        if let Some(timed) = &mut self.timed {
            timed.forget_kept();
        }
    }

    fn ranges_hz(&self) -> Vec<[f64; 2]> {
        let capture = if self.is_note() {
            notes::CAPTURE
        } else {
            CAPTURE
        };
        let around = |tone: Hertz| [tone.0 * capture[0], tone.0 * capture[1]];
        match self.nominal {
            Some(nominal) => vec![around(nominal)],
            None => USUAL_TONES.map(around).to_vec(),
        }
    }

    fn set_ranges(&mut self) {
        self.tracker.set_ranges(self.ranges_hz());
    }

    fn nominal_choice(&self) -> Choice {
        match self.settings.conditions.nominal {
            Nominal::Nearest => Choice::Guessed,
            // Nobody means a usual tone who names a note.
            Nominal::Fixed(_) if self.nominal_confirmed || self.is_note() => Choice::Confirmed,
            Nominal::Fixed(_) => Choice::Given,
        }
    }

    fn surroundings(&self) -> Surroundings<'_> {
        Surroundings {
            conditions: &self.settings.conditions,
            nominal: self.nominal,
            choice: self.nominal_choice(),
            rate_hz: self.settings.rate_hz,
            band_hz: self.tracker.band_hz().or(self.health.last_band_hz()),
            wrong: self.wrong,
            believed: true,
            silent: self.is_silent(),
            channel: self.channel_used(),
        }
    }

    fn channel_used(&self) -> ChannelUsed {
        self.channel_of(&self.tracker.quality())
    }

    fn channel_of(&self, quality: &[ChannelQuality; MOST_CHANNELS]) -> ChannelUsed {
        if self.settings.channels == 1 {
            return ChannelUsed::Mono;
        }
        match self.settings.choice {
            ChannelChoice::Left => ChannelUsed::Left,
            ChannelChoice::Right => ChannelUsed::Right,
            ChannelChoice::Auto => {
                let [left, right] = quality.map(|quality| quality.weight);
                match (left > 0.0, right > 0.0) {
                    (true, false) => ChannelUsed::Left,
                    (false, true) => ChannelUsed::Right,
                    _ => ChannelUsed::Both,
                }
            }
        }
    }
}

/// Adds the samples of each channel to what waits. Two channels, which is the
/// usual, in a loop of their own that the compiler makes fast.
fn split(interleaved: &[f32], channels: usize, waiting: &mut [Vec<f32>]) {
    let frames = interleaved.len() / channels;
    let waited = waiting[0].len();
    if let [left, right] = waiting
        && channels == 2
    {
        let frames = interleaved.as_chunks::<2>().0.iter();
        left.extend(frames.clone().map(|frame| tame(frame[0])));
        right.extend(frames.map(|frame| tame(frame[1])));
        return;
    }
    for samples in &mut *waiting {
        samples.resize(waited + frames, 0.0);
    }
    for (channel, samples) in waiting.iter_mut().enumerate() {
        let frames = interleaved.chunks_exact(channels);
        for (slot, frame) in samples[waited..].iter_mut().zip(frames) {
            *slot = tame(frame[channel]);
        }
    }
}
