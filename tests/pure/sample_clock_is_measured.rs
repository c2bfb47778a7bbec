//! The error of a sample clock is found from the arrival of its blocks with a
//! ± that covers it, and nothing is said where the arrivals allow nothing.
//! All arrivals here are invented, with a clock whose error is known.

use crate::support::dice::Dice;
use crate::support::seeds::{Errors, each};
use tapewright::signal::arrivals::{Arrival, ArrivalFit, Arrivals, Unfit};
use tapewright::units::{Ppm, Seconds};

const RATE_HZ: u32 = 48_000;
const BLOCK: u64 = 1024;

/// How late blocks are.
#[derive(Clone, Copy, Debug)]
enum Lateness {
    /// Each on its own, exponential with this mean.
    Exponential(f64),
    /// Each on its own, half of a normal distribution of this width.
    HalfNormal(f64),
    /// Rarely, but then long, and whoever comes after waits in the queue.
    Bursts,
    /// Wandering: the size of a first-order process of this width and
    /// correlation time.
    Wandering(f64, f64),
    /// Delivered at the next tick of a timer of this period.
    Ticks(f64),
    /// Handed over by a server whose timer has this period, longer than a
    /// block.
    Server(f64),
}

const SHAPES: [Lateness; 9] = [
    Lateness::Exponential(0.0003),
    Lateness::Exponential(0.002),
    Lateness::HalfNormal(0.001),
    Lateness::Bursts,
    Lateness::Wandering(0.001, 1.0),
    Lateness::Wandering(0.001, 10.0),
    Lateness::Ticks(0.001),
    Lateness::Ticks(0.004),
    Lateness::Server(0.025),
];

struct Run {
    error_ppm: f64,
    seconds: f64,
    lateness: Lateness,
    seed: u64,
}

impl Run {
    fn arrivals(&self) -> Vec<Arrival> {
        let mut dice = Dice::new(self.seed);
        let rate = f64::from(RATE_HZ) * (1.0 + self.error_ppm * 1e-6);
        let block_s = BLOCK as f64 / rate;
        let blocks = (self.seconds / block_s) as u64;
        let mut wander = dice.gaussian();
        let mut busy_until = 0.0;
        let phase = dice.unit();
        (1..=blocks)
            .map(|n| {
                let full = 10.0 + n as f64 * block_s;
                let ready = full + 20e-6 * -(1.0 - dice.unit()).ln();
                let at = match self.lateness {
                    Lateness::Exponential(mean) => ready - mean * (1.0 - dice.unit()).ln(),
                    Lateness::HalfNormal(width) => ready + width * dice.gaussian().abs(),
                    Lateness::Bursts => {
                        if dice.unit() < 0.002 {
                            let long = 0.01 / dice.unit().max(0.003);
                            busy_until = f64::max(busy_until, ready + long);
                        }
                        f64::max(ready, busy_until)
                    }
                    Lateness::Wandering(width, time_s) => {
                        let keep = (-block_s / time_s).exp();
                        wander = keep * wander + (1.0 - keep * keep).sqrt() * dice.gaussian();
                        ready + width * wander.abs()
                    }
                    Lateness::Ticks(period) | Lateness::Server(period) => {
                        ((ready / period + phase).ceil() - phase) * period + 10e-6 * dice.unit()
                    }
                };
                Arrival {
                    frames: n * BLOCK,
                    at: Seconds(at),
                }
            })
            .collect()
    }

    fn fit(&self) -> Result<ArrivalFit, Unfit> {
        fit(&self.arrivals())
    }
}

fn fit(arrivals: &[Arrival]) -> Result<ArrivalFit, Unfit> {
    let mut run = Arrivals::new(RATE_HZ);
    for arrival in arrivals {
        run.push(*arrival);
    }
    run.fit()
}

const RUNS: u64 = 1000;

#[test]
fn the_uncertainty_covers_the_truth_95_times_in_100() {
    println!("lateness, length: covered, said something, median ±, 95 % of misses (ppm)");
    for lateness in SHAPES {
        for seconds in [60.0, 300.0] {
            let errors = Errors::of(each(0..RUNS, |seed| {
                let error_ppm = Dice::new(7000 + seed).between(-100.0, 100.0);
                let run = Run {
                    error_ppm,
                    seconds,
                    lateness,
                    seed,
                };
                let fit = run.fit().ok()?;
                Some((fit.error.0 - error_ppm, fit.uncertainty.0))
            }));
            let covered = errors.covered();
            let share = errors.known.len() as f64 / RUNS as f64;
            let [limit, miss] = [errors.limit(), errors.error(0.95)];
            println!("{lateness:?}, {seconds} s: {covered:.3}, {share:.3}, {limit:.3}, {miss:.3}");
            // 95 % are meant; 93 % are sure for each kind of lateness.
            assert!(covered >= 0.93, "{lateness:?}, {seconds} s: {covered}");
            assert!(share >= 0.98, "{lateness:?}, {seconds} s: {share}");
        }
    }
}

#[test]
fn a_known_error_is_found_with_its_sign() {
    for error_ppm in [37.0, -37.0, 0.0, 150.0] {
        let run = Run {
            error_ppm,
            seconds: 300.0,
            lateness: Lateness::Exponential(0.0003),
            seed: 1,
        };
        let fit = run.fit().expect("quiet enough").within(Ppm(1.0));
        let fit = fit.expect("±1 ppm after five minutes");
        assert!((fit.error.0 - error_ppm).abs() < 0.5, "{fit:?}");
        assert!((270.0..300.0).contains(&fit.over.0), "{fit:?}");
    }
}

#[test]
fn a_busy_quarter_of_a_minute_spoils_nothing() {
    let mut arrivals = quiet(300.0);
    for arrival in &mut arrivals {
        // All that comes between 100 and 115 s waits for 8 ms more.
        if (110.0..125.0).contains(&arrival.at.0) {
            arrival.at.0 += 0.008;
        }
    }
    let fit = fit(&arrivals).expect("one stretch out of many");
    assert!(
        (fit.error.0 - 37.0).abs() < fit.uncertainty.0.min(1.0),
        "{fit:?}"
    );
}

fn quiet(seconds: f64) -> Vec<Arrival> {
    Run {
        error_ppm: 37.0,
        seconds,
        lateness: Lateness::Exponential(0.0003),
        seed: 3,
    }
    .arrivals()
}

#[test]
fn lost_frames_are_refused_wherever_they_are_lost() {
    for (at_s, lost) in [(40.0, 512), (150.0, 512), (150.0, 128), (250.0, 9600)] {
        let mut arrivals = quiet(300.0);
        for arrival in &mut arrivals {
            // Invented time begins at 10 s.
            if arrival.at.0 > 10.0 + at_s {
                arrival.frames -= lost;
            }
        }
        let unfit = fit(&arrivals).expect_err("frames are missing");
        let Unfit::Jump { after, by } = unfit else {
            panic!("{unfit}");
        };
        // Known to within two points of the line.
        assert!((after.0 - at_s).abs() < 20.0, "{unfit}");
        let lost_s = lost as f64 / f64::from(RATE_HZ);
        assert!((by.0 - lost_s).abs() < 0.3 * lost_s, "{unfit}");
        assert!(unfit.to_string().contains("behind"), "{unfit}");
    }
}

/// Two minutes into a quiet run the rest is changed.
fn refused(change: impl Fn(&mut Arrival)) -> Unfit {
    let mut arrivals = quiet(300.0);
    let late = arrivals.iter_mut().filter(|it| it.at.0 > 130.0);
    late.for_each(change);
    fit(&arrivals).expect_err("something is wrong")
}

#[test]
fn a_sleep_of_the_computer_and_frames_that_came_twice_are_refused() {
    let slept = refused(|arrival| arrival.at.0 += 3600.0);
    assert!(matches!(slept, Unfit::Jump { .. }), "{slept}");
    let twice = refused(|arrival| arrival.frames += BLOCK);
    assert!(twice.to_string().contains("ahead"), "{twice}");
}

#[test]
fn a_short_run_says_how_long_it_must_be() {
    assert!(matches!(fit(&[]), Err(Unfit::TooShort { .. })));
    let unfit = fit(&quiet(20.0)).expect_err("too short");
    let Unfit::TooShort { have, need } = unfit else {
        panic!("{unfit}");
    };
    assert!((have.0 - 20.0).abs() < 0.1, "{unfit}");
    // What it asks for is enough.
    assert!(fit(&quiet(need.0 + 1.0)).is_ok(), "{unfit}");
}

#[test]
fn what_is_not_good_enough_yet_says_how_long_it_takes() {
    let run = |seconds| Run {
        error_ppm: -12.0,
        seconds,
        lateness: Lateness::Exponential(0.002),
        seed: 5,
    };
    let wanted = Ppm(1.5);
    let short = run(60.0).fit().expect("a first figure");
    let unfit = short.within(wanted).expect_err("not yet");
    let Unfit::NotYet { need, .. } = unfit else {
        panic!("{unfit}");
    };
    let long = run(need.0).fit().expect("a figure");
    assert!(long.within(wanted).is_ok(), "{long:?} after {need:?}");
}

#[test]
fn hopeless_jitter_is_refused_with_what_to_do() {
    let run = Run {
        error_ppm: 0.0,
        seconds: 120.0,
        lateness: Lateness::Wandering(0.3, 8.0),
        seed: 9,
    };
    let refused = run.fit().and_then(|fit| fit.within(Ppm(10.0)));
    let unfit = refused.expect_err("nothing can be said");
    assert!(matches!(unfit, Unfit::Jittery { .. }), "{unfit}");
    assert!(unfit.to_string().contains("--tone"), "{unfit}");
}

#[test]
fn what_no_crystal_does_is_refused() {
    let run = Run {
        error_ppm: 5000.0,
        seconds: 120.0,
        lateness: Lateness::Exponential(0.0003),
        seed: 2,
    };
    let unfit = run.fit().expect_err("no crystal is 0.5 % off");
    assert!(matches!(unfit, Unfit::NotPaced { .. }), "{unfit}");
}
