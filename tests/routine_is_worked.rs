//! The strip of steps leads through a whole job by one key, follows what is
//! done by other keys, and holds nobody up. The simulated machine plays into
//! the engine, and what it reads is handed to the screen, without a clock.

use std::sync::Arc;

use tapewright::audio::analysis::{LiveState, Request, SourceState};
use tapewright::audio::rehearsal_source::{BenchCommand, BenchStatus};
use tapewright::audio::source::StreamFormat;
use tapewright::readings::{ChannelChoice, Conditions, Engine, Settings};
use tapewright::references::MachineClass;
use tapewright::rehearsal::{MachineConfig, SimulatedMachine};
use tapewright::screen::{Action, Effect, Look, Mark, ScreenState, Setup, Slot, SourceKind, Step};
use tapewright::units::Percent;

/// A machine, the engine that listens to it, and the screen.
struct Bench {
    machine: SimulatedMachine,
    engine: Engine,
    state: ScreenState,
    sequence: u64,
    strokes: u32,
}

impl Bench {
    /// A warm portable that is 1 % slow: its trimmer goes from -5 to 5 %.
    fn new() -> Self {
        let mut config = MachineConfig::portable();
        config.trimmer.position = 0.4;
        config.cold_percent = 0.0;
        let conditions = Conditions::default();
        let tolerance = MachineClass::Deck.tolerance();
        let engine = Engine::new(Settings {
            rate_hz: config.rate_hz,
            channels: config.channels,
            choice: ChannelChoice::Auto,
            conditions,
            tolerance: tolerance.half_width,
        });
        let state = ScreenState::new(Setup {
            look: Look {
                unicode: true,
                colour: false,
            },
            kind: SourceKind::Rehearsal,
            conditions,
            tolerance,
            machine: None,
            message: None,
        });
        Self {
            machine: SimulatedMachine::new(config, 7),
            engine: engine.expect("a usual format"),
            state,
            sequence: 0,
            strokes: 0,
        }
    }

    /// Lets it play, the screen looking on ten times a second.
    fn play(&mut self, seconds: f64) {
        let mut block = vec![0.0; 9600];
        for _ in 0..(seconds * 10.0) as usize {
            self.machine.fill(&mut block);
            self.engine.push(&block);
            self.show();
        }
    }

    /// Plays until the screen is as described, for a minute at most.
    fn play_until(&mut self, what: &str, is_so: impl Fn(&ScreenState) -> bool) {
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

    fn show(&mut self) {
        let status = BenchStatus {
            trimmer: self.machine.trimmer(),
            powered: self.machine.is_powered(),
            strokes: self.strokes,
        };
        let effects = self.state.take_bench(Some(status));
        self.carry_out(effects);
        self.sequence += 1;
        let live = LiveState {
            sequence: self.sequence,
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

    fn act(&mut self, action: Action) {
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
                Effect::Bench(BenchCommand::Power(true)) => self.machine.power_on(),
                Effect::Bench(BenchCommand::Power(false)) => self.machine.power_off(),
                Effect::Bench(BenchCommand::CleanStroke) => {
                    self.machine.clean_wiper_stroke();
                    self.strokes += 1;
                }
                Effect::Save(kept) => self.state.saved(kept.number, Ok("a file".to_owned())),
                _ => {}
            }
        }
    }

    fn at(&self) -> Step {
        self.state.routine.at()
    }

    /// Presses the one key until a step is shown.
    fn go_on_to(&mut self, step: Step) {
        for _ in 0..20 {
            if self.at() == step {
                return;
            }
            self.act(Action::GoOn);
            self.play(0.5);
        }
        panic!("{step:?} is not reached; at {:?}", self.at());
    }

    fn keeps(&mut self, slot: &Slot) {
        self.act(Action::GoOn);
        assert_eq!(self.state.keeping.as_ref(), Some(slot));
        self.play_until("kept", |state| state.newest_kept(slot).is_some());
    }
}

#[test]
fn one_key_and_the_trimmer_lead_through_the_whole_job() {
    let mut bench = Bench::new();
    assert_eq!(bench.at(), Step::Connect);
    bench.play(8.0);
    assert!(bench.state.routine.is_done(Step::Signal));
    bench.go_on_to(Step::Before);
    bench.keeps(&Slot::Before);
    assert!(bench.state.routine.is_done(Step::Before));
    bench.go_on_to(Step::Clean);
    // Power off, the wiper, power on, by the same key.
    bench.go_on_to(Step::Wiper);
    assert!(bench.strokes >= 3 && bench.machine.is_powered());
    bench.act(Action::Pass);
    assert_eq!(bench.at(), Step::Trim);
    bench.play(3.0);
    bench.machine.set_trimmer(0.5);
    bench.play_until("trimmed", |state| state.routine.is_done(Step::Trim));
    bench.go_on_to(Step::HandsOff);
    bench.play_until("it holds", |state| state.routine.is_done(Step::HandsOff));
    bench.go_on_to(Step::Along);
    for position in tapewright::readings::Position::ALL {
        bench.keeps(&Slot::Along(position));
    }
    assert!(bench.state.routine.is_done(Step::Along));
    bench.go_on_to(Step::After);
    bench.keeps(&Slot::After);
    let speed = |slot| {
        let kept = bench.state.newest_kept(slot).expect("kept");
        kept.measurement.speed.expect("a speed").deviation.0
    };
    // Where the trimmer stood, and where it stands; the pack drifts by 0.01 %
    // a minute.
    assert!((speed(&Slot::Before) + 1.0).abs() < 0.1);
    assert!(speed(&Slot::After).abs() < 0.1);
}

#[test]
fn a_speed_that_moves_when_the_hand_goes_leads_back_to_trimming() {
    let mut bench = Bench::new();
    bench.machine.set_trimmer(0.5);
    bench.play(12.0);
    bench.act(Action::NoTrimmer);
    bench.act(Action::NoTrimmer);
    assert_eq!(bench.at(), Step::Trim);
    bench.play(1.0);
    bench.act(Action::GoOn);
    assert_eq!(bench.at(), Step::HandsOff);
    // The tool had held it 0.3 % too fast.
    bench.machine.step_speed(Percent(-0.3));
    bench.play_until("back at the trimmer", |state| {
        state.routine.at() == Step::Trim
    });
    let said = bench.state.message.clone().unwrap_or_default();
    assert!(said.contains("-0.3") || said.contains("-0.2"), "{said}");
}

#[test]
fn a_before_never_shows_a_machine_that_was_switched_off_meanwhile() {
    let mut bench = Bench::new();
    bench.play(8.0);
    bench.act(Action::Keep(Slot::Before));
    assert_eq!(bench.at(), Step::Before);
    bench.play(2.0);
    bench.act(Action::Power);
    bench.play(0.5);
    let said = bench.state.message.clone().unwrap_or_default();
    assert!(said.contains("before was not kept"), "{said}");
    assert_eq!(bench.state.keeping, None);
    bench.act(Action::Power);
    bench.play(40.0);
    assert!(bench.state.kept.is_empty());
    assert!(!bench.state.routine.is_done(Step::Before));
}

#[test]
fn without_a_trimmer_its_steps_are_left_out() {
    let mut bench = Bench::new();
    bench.play(8.0);
    bench.act(Action::NoTrimmer);
    for step in [Step::Wiper, Step::Trim, Step::HandsOff] {
        assert_eq!(bench.state.routine.mark(step), Mark::LeftOut);
    }
    bench.act(Action::GoOn);
    assert_eq!(bench.at(), Step::Along);
    bench.act(Action::GoBack);
    assert_eq!(bench.at(), Step::Clean);
}

#[test]
fn the_strip_holds_nobody_up() {
    let mut bench = Bench::new();
    // Nothing is done, no sample has come: the key still gets to the end.
    for step in &Step::ALL[1..] {
        bench.act(Action::Pass);
        assert_eq!(bench.at(), *step);
    }
    for step in Step::ALL[..9].iter().rev() {
        bench.act(Action::GoBack);
        assert_eq!(bench.at(), *step);
    }
    bench.act(Action::Keep(Slot::After));
    assert!(bench.state.message.is_some(), "nothing to keep is said");
}
