//! Guidance at the trimmer, on the simulated machine: silent while nobody
//! turns, ahead of the speed while somebody does, and right about the way.

use crate::support::sound;
use tapewright::readings::{Advice, Engine, Guidance, Settings};
use tapewright::rehearsal::{Fingers, FlutterModel, MachineConfig, SimulatedMachine};
use tapewright::units::Percent;

struct Bench {
    machine: SimulatedMachine,
    fingers: Fingers,
    engine: Engine,
}

impl Bench {
    /// A portable that plays 3 % slow; turning up is faster, 10 % over the
    /// travel.
    fn new(lag_s: f64, seed: u64) -> Self {
        let mut config = MachineConfig {
            lag_s,
            flutter: FlutterModel::portable(),
            hiss_snr_db: Some(42.0),
            ..MachineConfig::ideal()
        };
        config.trimmer.position = 0.2;
        let settings = Settings {
            tolerance: Percent(0.1),
            ..sound::settings(config.rate_hz, config.channels)
        };
        Self {
            machine: SimulatedMachine::new(config, seed),
            fingers: Fingers::at(0.2),
            engine: sound::engine(settings),
        }
    }

    /// What was said in each 10 ms of so many seconds.
    fn listen(&mut self, seconds: f64) -> Vec<Guidance> {
        let mut block = vec![0.0; 960];
        (0..(seconds * 100.0) as usize)
            .map(|_| {
                self.fingers.advance(0.01);
                self.machine.set_trimmer(self.fingers.position());
                self.machine.fill(&mut block);
                self.engine.push(&block);
                self.engine.reading().guidance
            })
            .collect()
    }
}

#[test]
fn nothing_is_called_while_nobody_turns() {
    for seed in 0..4 {
        let said = Bench::new(0.12, seed).listen(40.0);
        let called = said.iter().filter(|it| it.heading.is_some()).count();
        assert_eq!(called, 0, "seed {seed}");
        assert!(said.iter().all(|it| !it.overshoots));
    }
}

#[test]
fn a_turn_past_right_is_called_before_the_speed_is_there() {
    for (lag_s, seed) in [(0.12, 1), (0.25, 2)] {
        let mut bench = Bench::new(lag_s, seed);
        let _ = bench.listen(10.0);
        // To +1.5 %, at the pace of a hand.
        bench.fingers.turn(0.45);
        let mut called_at = None;
        for _ in 0..200 {
            let said = bench.listen(0.01);
            if said[0].overshoots {
                called_at = Some(bench.machine.mean_deviation().0);
                break;
            }
        }
        let called_at = called_at.expect("it goes past by 1.5 %");
        assert!(called_at < 0.1, "lag {lag_s}: called at {called_at} %");
    }
}

/// As after cleaning: the first run-up must not teach a flutter that hides
/// every turn.
#[test]
fn a_turn_is_seen_after_the_power_was_off_and_on() {
    for seed in 0..3 {
        let mut bench = Bench::new(0.12, seed);
        let _ = bench.listen(10.0);
        bench.machine.power_off();
        let _ = bench.listen(2.0);
        bench.machine.power_on();
        let _ = bench.listen(10.0);
        bench.fingers.turn(0.06);
        let said = bench.listen(8.0);
        let by = said[said.len() - 1].last_move;
        let by = by.unwrap_or_else(|| panic!("seed {seed}: no turn was seen"));
        assert!((by.0 - 0.6).abs() < 0.15, "seed {seed}: {by:?}");
    }
}

#[test]
fn the_way_and_the_size_follow_from_the_answer() {
    let mut bench = Bench::new(0.12, 3);
    let _ = bench.listen(10.0);
    bench.engine.mark_an_eighth();
    bench.fingers.turn(0.1);
    let said = bench.listen(8.0);
    let last = said[said.len() - 1];
    // A tenth of the travel is 1 %; 2 % are still missing.
    let (by, known) = last.an_eighth.expect("it was marked");
    assert!((by.0 - 1.0).abs() < 0.15, "{by:?}");
    assert!(known.0 > 0.1);
    match last.advice {
        Some(Advice::Eighths(eighths)) => assert!((eighths - 2.0).abs() < 0.3, "{eighths}"),
        other => panic!("{other:?}"),
    }
}
