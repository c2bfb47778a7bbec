//! The analysis thread: any source → ring → engine → newest state.
//!
//! The screen takes the newest [`LiveState`] without waiting; requests go the
//! other way through a channel. What the engine measures depends on the
//! samples alone; this thread only carries them.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::thread;
use std::time::{Duration, Instant};

use arc_swap::ArcSwap;

use super::log_feed::LogFeed;
use super::ring::{Popped, RingReader};
use super::source::{SourceEvent, StreamFormat};
use crate::readings::contact::{ContactCheck, ContactReport};
use crate::readings::{
    ChannelChoice, Conditions, Engine, KeepRequest, Nominal, Reading, SampleClock, Settings, Target,
};
use crate::units::Percent;

/// How long the thread sleeps when nothing waits: short against the 50 ms
/// that a sample may take to the screen.
const NAP: Duration = Duration::from_millis(5);

/// Samples taken from the ring at once, and after how much of the stream at
/// most a new state is made.
const BLOCK_SAMPLES: usize = 2048;
const STATES_A_SECOND: u64 = 60;

/// Where nothing was heard of the source for longer, what is shown is not of now,
/// and is said to be so within a second. A choice: dozens of states have not been
/// made by then.
const LATE: Duration = Duration::from_millis(700);

/// What the screen shows, newest first and whole.
#[derive(Clone, Debug, Default)]
pub struct LiveState {
    /// Counts up with every new state, so that a reader sees whether it is new.
    pub sequence: u64,
    /// How the source is.
    pub source: SourceState,
    /// Counts up with every source that is another than the one before, or may
    /// be: nothing that was learnt before it is left.
    pub sources: u32,
    /// `None` before the first samples.
    pub reading: Option<Arc<Reading>>,
    /// The sample clock that the readings count with; `None` before the first
    /// connection.
    pub clock: Option<SampleClock>,
    /// The contact check that is under way, or the last one's result.
    pub contact: Option<Contacting>,
    /// Frames that found no room in the ring, so far.
    pub overrun_frames: u64,
}

/// A contact check.
#[derive(Clone, Debug)]
pub enum Contacting {
    /// Under way; how it stands.
    Running(Arc<ContactReport>),
    /// Ended.
    Done(Arc<ContactReport>),
}

/// How the source is.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum SourceState {
    /// Not yet connected.
    #[default]
    Opening,
    /// Samples come.
    Running {
        /// What to call it.
        name: String,
        /// Rate and channels.
        format: StreamFormat,
    },
    /// Nothing new has come out of the analysis for a while: it has not got the
    /// time, or nothing to work on. The last reading stays, but is not of now.
    Late {
        /// What to call it.
        name: String,
    },
    /// Gone; waited for. The last reading stays, but is no longer live.
    Lost {
        /// What it was called.
        name: String,
        /// What happened.
        reason: String,
    },
    /// A recording has come to its end.
    Ended {
        /// What it was called.
        name: String,
    },
    /// It cannot go on.
    Failed {
        /// What happened and what to do.
        reason: String,
    },
}

/// What the screen may ask of the analysis.
#[derive(Clone, Debug)]
pub enum Request {
    /// Another nominal tone.
    Nominal(Nominal),
    /// Another speed or direction of the machine, against this tone: what was
    /// learnt is forgotten.
    OtherRun(Nominal),
    /// Another tolerance band.
    Tolerance(Percent),
    /// Keep a stretch.
    Keep(KeepRequest),
    /// Stop keeping, or forget what is done.
    ForgetKept,
    /// Begin a contact check.
    BeginContact,
    /// End it.
    EndContact,
    /// Stop it, or forget what came of it.
    ForgetContact,
    /// Begin a wiper check.
    BeginSweep,
    /// End it and judge it.
    EndSweep,
    /// Stop it, or forget what came of it.
    ForgetSweep,
    /// An eighth of a turn clockwise comes now.
    MarkAnEighth,
    /// The tool is taken away: does the speed hold?
    HandsOff,
    /// Forget that question.
    HandsOn,
    /// A passage begins or ends now.
    EdgeByHand,
    /// Another reference: what was learnt by the one before is forgotten.
    Reference(Conditions, Target),
}

/// What is known of the source's sample clock at a rate in hertz: a device may
/// have a crystal for each family of rates.
pub type ClockAtRate = Box<dyn Fn(u32) -> SampleClock + Send>;

/// A state, and when something was last heard of the source.
struct Made {
    state: Arc<LiveState>,
    heard: Instant,
}

/// The screen's end of a running analysis. Dropping it ends the thread.
pub struct Analysis {
    newest: Arc<ArcSwap<Made>>,
    requests: Sender<Request>,
}

impl Analysis {
    /// Starts the thread on the events of a source. With `None` the clock of
    /// the conditions counts at every rate, and no log is kept.
    ///
    /// Fails only when the system has no thread to give.
    pub fn start(
        events: Receiver<SourceEvent>,
        conditions: Conditions,
        choice: ChannelChoice,
        tolerance: Percent,
        target: Target,
        clock_at: Option<ClockAtRate>,
        log: Option<LogFeed>,
    ) -> std::io::Result<Self> {
        let heard = Instant::now();
        let newest = Arc::new(ArcSwap::from_pointee(Made {
            state: Arc::default(),
            heard,
        }));
        let (requests, asked) = channel();
        let worker = Worker {
            events,
            asked,
            newest: Arc::clone(&newest),
            settings: Settings {
                // Those of the input, once it is connected.
                rate_hz: 0,
                channels: 0,
                choice,
                conditions,
                tolerance,
            },
            target,
            clock_at,
            log,
            state: LiveState::default(),
            engine: None,
            connection: None,
            contact: None,
            overruns_before: 0,
            unpublished: 0,
            heard,
        };
        thread::Builder::new()
            .name("analysis".into())
            .spawn(move || worker.run())?;
        Ok(Self { newest, requests })
    }

    /// The newest state; never waits.
    pub fn newest(&self) -> Arc<LiveState> {
        let newest = self.newest.load();
        match &newest.state.source {
            SourceState::Running { name, .. } if newest.heard.elapsed() > LATE => {
                Arc::new(LiveState {
                    source: SourceState::Late { name: name.clone() },
                    ..LiveState::clone(&newest.state)
                })
            }
            _ => Arc::clone(&newest.state),
        }
    }

    /// Asks for something; it takes effect with the next samples.
    pub fn ask(&self, request: Request) {
        // A thread that has ended has nothing left to change.
        let _ = self.requests.send(request);
    }
}

struct Connection {
    reader: RingReader,
    format: StreamFormat,
    name: String,
}

struct Worker {
    events: Receiver<SourceEvent>,
    asked: Receiver<Request>,
    newest: Arc<ArcSwap<Made>>,
    /// What a new engine is told.
    settings: Settings,
    target: Target,
    clock_at: Option<ClockAtRate>,
    log: Option<LogFeed>,
    state: LiveState,
    engine: Option<(Engine, StreamFormat)>,
    connection: Option<Connection>,
    /// The contact check that is under way.
    contact: Option<ContactCheck>,
    /// Lost in rings that are done with.
    overruns_before: u64,
    /// Frames since the last state was made.
    unpublished: u64,
    /// When something was last heard of the source.
    heard: Instant,
}

impl Worker {
    fn run(mut self) {
        let mut buffer = vec![0.0; BLOCK_SAMPLES];
        loop {
            if self.listen_to_screen().is_err() {
                return;
            }
            let moved = self.drain(&mut buffer);
            let heard = self.listen_to_source();
            if !moved && !heard {
                self.publish_if_waiting();
                thread::sleep(NAP);
            }
        }
    }

    /// Err once the screen is gone.
    fn listen_to_screen(&mut self) -> Result<(), TryRecvError> {
        loop {
            match self.asked.try_recv() {
                Ok(request) => {
                    self.carry_out(request);
                    self.publish();
                }
                Err(TryRecvError::Empty) => return Ok(()),
                Err(gone) => return Err(gone),
            }
        }
    }

    fn carry_out(&mut self, request: Request) {
        match request {
            Request::Nominal(nominal) => {
                self.settings.conditions.nominal = nominal;
                self.tell(|engine| engine.set_nominal(nominal));
            }
            Request::OtherRun(nominal) => {
                self.settings.conditions.nominal = nominal;
                self.tell(|engine| engine.other_run(nominal));
            }
            Request::Reference(mut conditions, target) => {
                // The clock is the input's, not the reference's.
                conditions.clock = self.settings.conditions.clock;
                self.settings.conditions = conditions;
                self.target = target.clone();
                self.tell(|engine| engine.other_reference(conditions, target));
            }
            Request::Tolerance(tolerance) => {
                self.settings.tolerance = tolerance;
                self.tell(|engine| engine.set_tolerance(tolerance));
            }
            Request::Keep(keep) => self.tell(|engine| engine.keep(keep)),
            Request::ForgetKept => self.tell(Engine::forget_kept),
            Request::BeginContact => self.begin_contact(),
            Request::EndContact => self.end_contact(),
            Request::ForgetContact => self.forget_contact(),
            Request::BeginSweep => self.tell(Engine::begin_sweep),
            Request::EndSweep => self.tell(|engine| drop(engine.end_sweep())),
            Request::ForgetSweep => self.tell(Engine::forget_sweep),
            Request::MarkAnEighth => self.tell(Engine::mark_an_eighth),
            Request::HandsOff => self.tell(Engine::hands_off),
            Request::HandsOn => self.tell(Engine::hands_on),
            Request::EdgeByHand => self.tell(Engine::edge_by_hand),
        }
    }

    fn tell(&mut self, act: impl FnOnce(&mut Engine)) {
        if let Some((engine, _)) = &mut self.engine {
            act(engine);
        }
    }

    fn forget_contact(&mut self) {
        self.contact = None;
        self.state.contact = None;
    }

    fn begin_contact(&mut self) {
        if let Some(connection) = &self.connection {
            let format = connection.format;
            self.contact = Some(ContactCheck::new(format.rate_hz, format.channels));
        }
    }

    fn end_contact(&mut self) {
        if let Some(mut check) = self.contact.take() {
            self.state.contact = Some(Contacting::Done(Arc::new(check.report())));
        }
    }

    /// Takes one event, if one waits and everything before it has been read.
    fn listen_to_source(&mut self) -> bool {
        let Ok(event) = self.events.try_recv() else {
            return false;
        };
        self.heard = Instant::now();
        match event {
            SourceEvent::Connected {
                format,
                reader,
                name,
                may_be_another,
            } => self.connect(
                Connection {
                    reader,
                    format,
                    name,
                },
                may_be_another,
            ),
            SourceEvent::Lost { reason } => {
                let name = self.source_name();
                self.state.source = SourceState::Lost { name, reason };
            }
            SourceEvent::Ended => {
                let name = self.source_name();
                self.finish_reading();
                self.tell(Engine::end_of_input);
                self.state.source = SourceState::Ended { name };
            }
            SourceEvent::Failed { reason } => {
                self.state.source = SourceState::Failed { reason };
            }
        }
        self.publish();
        true
    }

    /// Nothing that was learnt by one input is said of another, nor is the
    /// figure for its sample clock.
    fn forget_input(&mut self) {
        self.engine = None;
        self.forget_contact();
        self.clock_at = None;
        self.settings.conditions.clock = SampleClock::default();
    }

    fn source_name(&self) -> String {
        self.connection
            .as_ref()
            .map_or_else(String::new, |connection| connection.name.clone())
    }

    /// The source says that it has given everything: what still waits in the
    /// ring is read before the end is told.
    fn finish_reading(&mut self) {
        let mut buffer = vec![0.0; BLOCK_SAMPLES];
        while self.drain(&mut buffer) {}
    }

    fn connect(&mut self, new: Connection, may_be_another: bool) {
        let format = new.format;
        let mut is_same = false;
        if let Some(before) = self.connection.take() {
            self.overruns_before += before.reader.lost_frames();
            is_same = before.name == new.name && !may_be_another;
            if !is_same {
                self.forget_input();
            }
        }
        self.state.sources += u32::from(!is_same);
        if let Some(clock_at) = &self.clock_at {
            self.settings.conditions.clock = clock_at(format.rate_hz);
        }
        self.state.clock = Some(self.settings.conditions.clock);
        match &mut self.engine {
            // The same input is back: what was learnt stays, the gap is told.
            Some((engine, known)) if *known == format => engine.gap(0),
            _ => match Engine::by(self.settings_for(format), self.target.clone()) {
                Ok(engine) => self.engine = Some((engine, format)),
                Err(error) => {
                    self.state.source = SourceState::Failed {
                        reason: error.to_string(),
                    };
                    return;
                }
            },
        }
        // What plays now does not continue what was checked.
        match &mut self.contact {
            Some(check) if check.is_of(format.rate_hz, format.channels) => check.gap(),
            Some(_) => self.forget_contact(),
            None => {}
        }
        self.state.source = SourceState::Running {
            name: new.name.clone(),
            format,
        };
        self.connection = Some(new);
    }

    fn settings_for(&self, format: StreamFormat) -> Settings {
        Settings {
            rate_hz: format.rate_hz,
            channels: format.channels,
            ..self.settings
        }
    }

    /// Moves what waits from the ring to the engine, but no more than one
    /// state's worth; false when nothing waited.
    fn drain(&mut self, buffer: &mut [f32]) -> bool {
        let (Some(connection), Some((engine, _))) = (&mut self.connection, &mut self.engine) else {
            return false;
        };
        let a_state = u64::from(connection.format.rate_hz) / STATES_A_SECOND;
        let mut moved = false;
        while self.unpublished < a_state {
            match connection.reader.pop(buffer) {
                Popped::Samples(count) => {
                    engine.push(&buffer[..count]);
                    if let Some(check) = &mut self.contact {
                        check.push(&buffer[..count]);
                    }
                    self.unpublished += (count / connection.reader.channels()) as u64;
                }
                Popped::Gap(lost_frames) => {
                    engine.gap(lost_frames);
                    if let Some(check) = &mut self.contact {
                        check.gap();
                    }
                }
                Popped::Empty => return moved,
            }
            moved = true;
        }
        self.publish();
        true
    }

    fn publish_if_waiting(&mut self) {
        if self.unpublished > 0 {
            self.publish();
        }
    }

    fn publish(&mut self) {
        // A request alone makes nothing newer.
        if self.unpublished > 0 {
            self.heard = Instant::now();
        }
        self.unpublished = 0;
        if let Some(check) = &self.contact {
            self.state.contact = Some(Contacting::Running(Arc::new(check.progress())));
        }
        self.state.sequence += 1;
        self.state.reading = self
            .engine
            .as_ref()
            .map(|(engine, _)| Arc::new(engine.reading()));
        let now = self
            .connection
            .as_ref()
            .map_or(0, |c| c.reader.lost_frames());
        self.state.overrun_frames = self.overruns_before + now;
        if let (Some(log), Some(reading)) = (&mut self.log, &self.state.reading) {
            log.look(reading, self.state.overrun_frames);
        }
        self.newest.store(Arc::new(Made {
            state: Arc::new(self.state.clone()),
            heard: self.heard,
        }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::ring::ring;
    use crate::readings::ClockSource;
    use crate::report::{LogLine, LogSecond};
    use crate::units::Ppm;
    use std::sync::mpsc::sync_channel;

    const FORMAT: StreamFormat = StreamFormat {
        rate_hz: 48_000,
        channels: 1,
    };

    fn start() -> (Sender<SourceEvent>, Analysis) {
        start_with(None)
    }

    fn start_with(clock_at: Option<ClockAtRate>) -> (Sender<SourceEvent>, Analysis) {
        start_logging(clock_at, None)
    }

    fn start_logging(
        clock_at: Option<ClockAtRate>,
        log: Option<LogFeed>,
    ) -> (Sender<SourceEvent>, Analysis) {
        let (events, source) = channel();
        let analysis = Analysis::start(
            source,
            Conditions::default(),
            ChannelChoice::Auto,
            Percent(0.5),
            Target::Frequency,
            clock_at,
            log,
        )
        .expect("a thread");
        (events, analysis)
    }

    fn wait_for(analysis: &Analysis, wanted: impl Fn(&LiveState) -> bool) -> Arc<LiveState> {
        let begun = Instant::now();
        loop {
            let state = analysis.newest();
            if wanted(&state) {
                return state;
            }
            assert!(begun.elapsed() < Duration::from_secs(20), "{state:?}");
            thread::sleep(Duration::from_millis(2));
        }
    }

    fn tone(frames: usize) -> Vec<f32> {
        tone_at(48_000, frames)
    }

    fn tone_at(rate_hz: u32, frames: usize) -> Vec<f32> {
        let step = std::f64::consts::TAU * 3118.5 / f64::from(rate_hz);
        (0..frames)
            .map(|n| (step * n as f64).sin() as f32 * 0.5)
            .collect()
    }

    fn connected(events: &Sender<SourceEvent>, samples: &[f32]) {
        connected_as(events, "test", FORMAT, samples, false);
    }

    fn connected_as(
        events: &Sender<SourceEvent>,
        name: &str,
        format: StreamFormat,
        samples: &[f32],
        may_be_another: bool,
    ) {
        let (mut writer, reader) = ring(samples.len(), 1);
        assert_eq!(writer.push_or_lose(samples), 0);
        events
            .send(SourceEvent::Connected {
                format,
                reader,
                name: name.into(),
                may_be_another,
            })
            .expect("somebody listens");
    }

    #[test]
    fn what_goes_into_the_ring_comes_out_as_a_reading() {
        let (events, analysis) = start();
        connected(&events, &tone(96_000));
        events.send(SourceEvent::Ended).expect("somebody listens");
        let state = wait_for(&analysis, |state| {
            matches!(state.source, SourceState::Ended { .. })
        });
        let reading = state.reading.as_ref().expect("a reading");
        assert!((reading.at.0 - 2.0).abs() < 1e-9);
        let speed = reading.speed.expect("a speed");
        assert!((speed.deviation.0 + 1.0).abs() < 1e-4, "{speed:?}");
    }

    fn seconds_of(lines: &Receiver<LogLine>) -> Vec<LogSecond> {
        let second = |line| match line {
            LogLine::Second(second) => Some(second),
            LogLine::Lines(_) => None,
        };
        lines.try_iter().filter_map(second).collect()
    }

    #[test]
    fn every_second_is_logged_once_also_across_inputs() {
        let (sender, lines) = sync_channel(128);
        let (events, analysis) = start_logging(None, Some(LogFeed::new(sender)));
        let played = |at_s: f64, sources| {
            wait_for(&analysis, |state| {
                let at = state.reading.as_ref().map_or(0.0, |reading| reading.at.0);
                state.sources == sources && (at - at_s).abs() < 0.01
            });
        };
        connected(&events, &tone(5 * 48_000));
        played(5.0, 1);
        let seconds = seconds_of(&lines);
        let times: Vec<u64> = seconds.iter().map(|second| second.at_s).collect();
        assert_eq!(times, [1, 2, 3, 4, 5]);
        let last = seconds[4].deviation_percent.expect("a speed");
        assert!((last + 1.0).abs() < 1e-3, "{last}");
        connected_as(&events, "another", FORMAT, &tone(2 * 48_000), false);
        played(2.0, 2);
        let times: Vec<u64> = seconds_of(&lines).iter().map(|it| it.at_s).collect();
        assert_eq!(times, [6, 7]);
    }

    #[test]
    fn a_log_that_takes_nothing_holds_nobody_up_and_what_it_missed_is_counted() {
        let (sender, lines) = sync_channel(1);
        let (events, analysis) = start_logging(None, Some(LogFeed::new(sender)));
        let at_least = |at_s| {
            wait_for(&analysis, |state| {
                state
                    .reading
                    .as_ref()
                    .is_some_and(|reading| reading.at.0 > at_s)
            });
        };
        connected(&events, &tone(4 * 48_000));
        at_least(3.99);
        assert_eq!(seconds_of(&lines).len(), 1);
        let reason = "unplugged".to_owned();
        events
            .send(SourceEvent::Lost { reason })
            .expect("somebody listens");
        connected(&events, &tone(2 * 48_000));
        at_least(5.99);
        let next = &seconds_of(&lines)[0];
        let counted = serde_json::to_value(next).expect("plain values");
        assert_eq!((next.at_s, &counted["skipped"]), (5, &3.into()));
    }

    #[test]
    fn an_input_that_comes_back_is_a_gap_in_the_same_measurement() {
        let (events, analysis) = start();
        connected(&events, &tone(48_000));
        wait_for(&analysis, |state| {
            state.reading.as_ref().is_some_and(|r| r.at.0 > 0.99)
        });
        let reason = "unplugged".to_owned();
        events
            .send(SourceEvent::Lost { reason })
            .expect("somebody listens");
        let lost = wait_for(&analysis, |state| {
            matches!(state.source, SourceState::Lost { .. })
        });
        assert!(lost.reading.is_some(), "the last reading stays");
        connected(&events, &tone(48_000));
        let state = wait_for(&analysis, |state| {
            state.reading.as_ref().is_some_and(|r| r.at.0 > 1.99)
        });
        let reading = state.reading.as_ref().expect("a reading");
        assert_eq!(reading.signal.gaps, 1);
        assert!(reading.speed.is_some());
    }

    #[test]
    fn a_reading_that_is_not_of_now_is_said_to_be_late_until_the_next_comes() {
        let (events, analysis) = start();
        let (mut writer, reader) = ring(96_000, 1);
        let (format, name) = (FORMAT, "test".to_owned());
        let connected = SourceEvent::Connected {
            format,
            reader,
            name,
            may_be_another: false,
        };
        events.send(connected).expect("somebody listens");
        let is_late = |state: &LiveState| matches!(state.source, SourceState::Late { .. });
        for _ in 0..2 {
            assert_eq!(writer.push_or_lose(&tone(48_000)), 0);
            wait_for(&analysis, |state| {
                !is_late(state) && state.reading.is_some()
            });
            let late = wait_for(&analysis, is_late);
            assert!(late.reading.is_some(), "the last reading stays");
            // A key makes it no newer.
            analysis.ask(Request::ForgetKept);
            wait_for(&analysis, |state| {
                assert!(is_late(state));
                state.sequence > late.sequence
            });
        }
    }

    #[test]
    fn what_may_be_another_input_begins_with_nothing_of_the_one_before() {
        let known = SampleClock {
            error: Ppm(2000.0),
            uncertainty: Ppm(12.0),
            source: ClockSource::Measured,
        };
        // By its name or not, it need not be the same.
        for (next, may_be_another) in [("another", false), ("test", true)] {
            let (events, analysis) = start_with(Some(Box::new(move |_| known)));
            connected(&events, &tone(96_000));
            let first = wait_for(&analysis, |state| {
                state.reading.as_ref().is_some_and(|r| r.at.0 > 1.99)
            });
            assert_eq!((first.clock, first.sources), (Some(known), 1));
            connected_as(&events, next, FORMAT, &tone(48_000), may_be_another);
            let state = wait_for(&analysis, |state| {
                state.reading.as_ref().is_some_and(|r| r.at.0 > 0.99) && state.sources == 2
            });
            let reading = state.reading.as_ref().expect("a reading");
            assert!(reading.at.0 < 1.01, "it counts anew: {:?}", reading.at);
            assert_eq!(reading.signal.gaps, 0, "{next}");
            assert_eq!(state.clock, Some(SampleClock::default()), "{next}");
        }
    }

    #[test]
    fn an_input_that_comes_back_at_another_rate_gets_the_clock_of_that_rate() {
        let known = SampleClock {
            error: Ppm(2000.0),
            uncertainty: Ppm(12.0),
            source: ClockSource::Measured,
        };
        let (events, analysis) = start_with(Some(Box::new(move |rate_hz| match rate_hz {
            48_000 => known,
            _ => SampleClock::default(),
        })));
        let deviation = |state: &LiveState| {
            let reading = state.reading.as_ref().expect("a reading");
            reading.speed.expect("a speed").deviation.0
        };
        let read_to_end = |rate_hz: u32, clock| {
            let format = StreamFormat {
                rate_hz,
                channels: 1,
            };
            let frames = 2 * rate_hz as usize;
            connected_as(&events, "test", format, &tone_at(rate_hz, frames), false);
            events.send(SourceEvent::Ended).expect("somebody listens");
            wait_for(&analysis, |state| {
                matches!(state.source, SourceState::Ended { .. }) && state.clock == Some(clock)
            })
        };
        // A clock that is 0.2 % fast: 3118.5 Hz were 3124.7 Hz.
        let first = deviation(&read_to_end(48_000, known));
        assert!((first + 0.802).abs() < 1e-3, "{first}");
        let second = deviation(&read_to_end(44_100, SampleClock::default()));
        assert!((second + 1.0).abs() < 1e-3, "{second}");
        let third = deviation(&read_to_end(48_000, known));
        assert!((third + 0.802).abs() < 1e-3, "{third}");
    }
}
