//! A simulated machine that plays into the engine, and the screen that is
//! handed what it reads, without a clock.

use std::sync::Arc;

use super::sound;
use tapewright::audio::analysis::{LiveState, Request, SourceState};
use tapewright::audio::rehearsal_source::{BenchCommand, BenchStatus};
use tapewright::audio::source::StreamFormat;
use tapewright::readings::{Conditions, Engine, Settings};
use tapewright::references::MachineClass;
use tapewright::rehearsal::{MachineConfig, RunConfig, SimulatedDeck, TrimmerConfig};
use tapewright::screen::{
    Action, Effect, Look, OpenJob, PlannedRun, Saved, ScreenState, Setup, Slot, SourceKind, Step,
};

/// A machine, the engine that listens to it, and the screen.
pub struct Bench {
    pub deck: SimulatedDeck,
    engine: Engine,
    pub state: ScreenState,
    sequence: u64,
}

/// Into a job that is on no disk.
fn saved() -> Saved {
    let into = OpenJob {
        path: "a file".into(),
        job: Arc::default(),
        sheet: String::new(),
    };
    Saved {
        into,
        warning: None,
    }
}

impl Bench {
    /// A warm portable that is 1 % slow: its trimmer goes from -5 to 5 %.
    pub fn new() -> Self {
        Self::with_runs(&[], &[])
    }

    /// The same with several speeds or directions, each with a trimmer that
    /// stands somewhere else.
    pub fn with_runs(planned: &[PlannedRun], trimmers: &[f64]) -> Self {
        let mut config = MachineConfig::portable();
        config.trimmer.position = 0.4;
        config.cold_percent = 0.0;
        let other = |&position: &f64| RunConfig {
            tone_hz: config.tone_hz,
            trimmer: TrimmerConfig {
                position,
                ..config.trimmer
            },
            wiper: config.wiper.clone(),
        };
        let others: Vec<RunConfig> = trimmers.iter().map(other).collect();
        let conditions = Conditions::default();
        let tolerance = MachineClass::Deck.tolerance();
        let engine = sound::engine(Settings {
            tolerance: tolerance.half_width,
            ..sound::settings(config.rate_hz, config.channels)
        });
        let state = ScreenState::new(Setup {
            look: Look {
                unicode: true,
                colour: false,
            },
            kind: SourceKind::Rehearsal,
            conditions,
            tolerance,
            reference: tapewright::references::Reference::Tone(
                tapewright::readings::USUAL_TONES[0],
            ),
            tape: None,
            cards: Vec::new(),
            machine: None,
            parts: None,
            parts_cards: Vec::new(),
            runs: planned.to_vec(),
            job: None,
            zone: jiff::tz::TimeZone::UTC,
            message: None,
        });
        Self {
            deck: SimulatedDeck::new(config, &others, 7),
            engine,
            state,
            sequence: 0,
        }
    }

    /// Lets it play, the screen looking on ten times a second.
    pub fn play(&mut self, seconds: f64) {
        let mut block = vec![0.0; 9600];
        for _ in 0..(seconds * 10.0) as usize {
            self.deck.machine.fill(&mut block);
            self.engine.push(&block);
            self.show();
        }
    }

    /// Plays until the screen is as described, for a minute at most.
    pub fn play_until(&mut self, what: &str, is_so: impl Fn(&ScreenState) -> bool) {
        for _ in 0..600 {
            if is_so(&self.state) {
                return;
            }
            self.play(0.1);
        }
        let at = self.state.routine.at();
        panic!(
            "waited in vain for: {what}; at {at:?}, {:?}",
            self.state.message
        );
    }

    pub fn show(&mut self) {
        let status = BenchStatus {
            trimmer: self.deck.machine.trimmer(),
            powered: self.deck.machine.is_powered(),
            strokes: self.deck.strokes(),
        };
        let effects = self.state.take_bench(Some(status));
        self.carry_out(effects);
        self.sequence += 1;
        let live = LiveState {
            sequence: self.sequence,
            sources: 1,
            source: SourceState::Running {
                name: "bench".to_owned(),
                format: StreamFormat {
                    rate_hz: 48_000,
                    channels: 2,
                },
            },
            reading: Some(Arc::new(self.engine.reading())),
            clock: None,
            contact: None,
            overrun_frames: 0,
        };
        let effects = self.state.take(Arc::new(live));
        self.carry_out(effects);
    }

    pub fn act(&mut self, action: Action) {
        let effects = self.state.act(action);
        self.carry_out(effects);
    }

    fn carry_out(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            match effect {
                Effect::Ask(Request::Keep(keep)) => self.engine.keep(keep),
                Effect::Ask(Request::ForgetKept) => self.engine.forget_kept(),
                Effect::Ask(Request::HandsOff) => self.engine.hands_off(),
                Effect::Ask(Request::HandsOn) => self.engine.hands_on(),
                Effect::Bench(BenchCommand::Power(true)) => self.deck.machine.power_on(),
                Effect::Bench(BenchCommand::Power(false)) => self.deck.machine.power_off(),
                Effect::Bench(BenchCommand::CleanStroke) => self.deck.clean_wiper_stroke(),
                Effect::Bench(BenchCommand::Run(to)) => self.deck.switch_to(to),
                Effect::Ask(Request::OtherRun(nominal)) => self.engine.other_run(nominal),
                Effect::Save(it) => {
                    let effects = self.state.saved(it.number, Ok(saved()));
                    self.carry_out(effects);
                }
                _ => {}
            }
        }
    }

    pub fn at(&self) -> Step {
        self.state.routine.at()
    }

    /// Presses the one key until a step is shown.
    pub fn go_on_to(&mut self, step: Step) {
        for _ in 0..20 {
            if self.at() == step {
                return;
            }
            self.act(Action::GoOn);
            self.play(0.5);
        }
        panic!("{step:?} is not reached; at {:?}", self.at());
    }

    pub fn keeps(&mut self, slot: &Slot) {
        self.act(Action::GoOn);
        assert_eq!(self.state.keeping.as_ref(), Some(slot));
        self.play_until("kept", |state| state.newest_kept(slot).is_some());
    }
}
