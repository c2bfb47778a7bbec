//! The simulated machine is what its configuration says, held against closed
//! forms: other tests take its true speed as their judge.

use std::f64::consts::TAU;

use crate::support::weighting_table::WEIGHTING_DB;
use tapewright::rehearsal::{
    DropoutConfig, FlutterModel, HumConfig, MachineConfig, PracticeMachine, SimulatedMachine,
    WiperConfig,
};
use tapewright::units::Percent;

const RATE: f64 = 48_000.0;

fn mono() -> MachineConfig {
    MachineConfig {
        channels: 1,
        ..MachineConfig::ideal()
    }
}

/// Little to render, for what takes minutes: the speed is computed a thousand
/// times a second.
fn slow_clock() -> MachineConfig {
    MachineConfig {
        rate_hz: 1000,
        tone_hz: 100.0,
        ..mono()
    }
}

fn render(machine: &mut SimulatedMachine, frames: usize) -> Vec<f32> {
    let channels = usize::from(machine.config().channels);
    let mut samples = vec![0.0; frames * channels];
    machine.fill(&mut samples);
    samples
}

/// Frame by frame against a formula in the seconds from now on.
#[track_caller]
fn assert_follows(
    machine: &mut SimulatedMachine,
    frames: u32,
    shown: fn(&SimulatedMachine) -> f64,
    expected: impl Fn(f64) -> f64,
) {
    let mut frame = vec![0.0; usize::from(machine.config().channels)];
    for n in 0..frames {
        let off = shown(machine) - expected(f64::from(n) / RATE);
        assert!(off.abs() < 1e-8, "{n}: {off}");
        machine.fill(&mut frame);
    }
}

fn mean(machine: &SimulatedMachine) -> f64 {
    machine.mean_deviation().0
}

/// How far two phases in turns lie apart, whole turns left out.
fn turns_apart(a: f64, b: f64) -> f64 {
    let apart = a - b;
    (apart - apart.round()).abs()
}

fn rms(samples: impl ExactSizeIterator<Item = f64>) -> f64 {
    let n = samples.len() as f64;
    (samples.map(|x| x * x).sum::<f64>() / n).sqrt()
}

/// Everything at once.
fn everything() -> MachineConfig {
    let mut config = PracticeMachine::of_seed(3).config;
    config.flutter = FlutterModel::mix();
    config.hum = Some(HumConfig {
        mains_hz: 60.0,
        below_tone_db: 45.0,
    });
    config.dropouts = DropoutConfig {
        per_minute: 60.0,
        length_s: 0.02,
        depth_db: 18.0,
    };
    config.wiper.crackles_per_second = 5.0;
    config
}

#[test]
fn the_tone_is_exact_to_the_sample_clock() {
    // −12 dB re full scale: 10^(−12/20).
    let peak = 10f64.powf(-0.6);
    for (trimmer, percent) in [(0.5, 0.0), (0.8, 3.0), (0.2, -3.0)] {
        let mut machine = SimulatedMachine::new(mono(), 1);
        machine.set_trimmer(trimmer);
        let hz = 3150.0 * (1.0 + percent / 100.0);
        for (n, got) in render(&mut machine, 480_000).into_iter().enumerate() {
            let expected = peak * (TAU * (hz * n as f64 / RATE).fract()).sin();
            assert!((f64::from(got) - expected).abs() < 3e-8, "{percent} %, {n}");
        }
        assert!((machine.mean_deviation().0 - percent).abs() < 1e-12);
        assert!((machine.true_deviation().0 - percent).abs() < 1e-12);
    }
}

/// Sinusoidal wow v(t) = 1 + a sin(2π w t) gives the phase
/// f t + f a (1 − cos(2π w t)) / (2π w), in turns.
#[test]
fn sinusoidal_wow_is_the_exact_frequency_modulation() {
    for (w, percent) in [(0.55, 0.3), (4.0, 0.15), (30.0, 0.1)] {
        let config = MachineConfig {
            flutter: FlutterModel::sine(w, percent),
            ..mono()
        };
        let peak = 10f64.powf(-0.6);
        let mut machine = SimulatedMachine::new(config, 1);
        for n in 0..240_000 {
            let t = f64::from(n) / RATE;
            let excursion = 3150.0 * percent / 100.0 / (TAU * w);
            let turns = 3150.0 * t + excursion * (1.0 - (TAU * w * t).cos());
            assert!(
                turns_apart(machine.tone_turns(), turns) < 1e-7,
                "{w} Hz, frame {n}: {}",
                turns_apart(machine.tone_turns(), turns)
            );
            let speed = percent * (TAU * w * t).sin();
            assert!((machine.true_deviation().0 - speed).abs() < 1e-9);
            assert!(machine.mean_deviation().0.abs() < 1e-12);
            let expected = peak * (TAU * turns.fract()).sin();
            let got = f64::from(render(&mut machine, 1)[0]);
            assert!((got - expected).abs() < 3e-7, "{w} Hz, frame {n}");
        }
    }
}

/// The phase is the integral of the speed that the machine owns up to, with
/// every fault on and the trimmer in somebody's hand.
#[test]
fn the_phase_is_the_integral_of_the_true_speed() {
    let mut machine = SimulatedMachine::new(everything(), 11);
    // Rectangles, the plainest sum; off by half a frame of the difference
    // between the first and the last speed, and of each sudden step.
    let mut turns = 0.0;
    let tone_hz = machine.config().tone_hz;
    for n in 0..480_000_u32 {
        if n % 24_000 == 0 {
            machine.turn_trimmer(if n % 48_000 == 0 { 0.05 } else { -0.03 });
        }
        turns += tone_hz * machine.true_deviation().ratio() / RATE;
        render(&mut machine, 1);
        assert!(turns_apart(machine.tone_turns(), turns) < 0.005, "{n}");
    }
}

#[test]
fn the_lag_answers_a_step_with_its_exponential() {
    for lag_s in [0.05, 0.12, 0.25] {
        let config = MachineConfig { lag_s, ..mono() };
        let mut machine = SimulatedMachine::new(config, 1);
        machine.step_speed(Percent(3.0));
        assert_follows(&mut machine, 96_000, mean, |t| {
            3.0 * (1.0 - (-t / lag_s).exp())
        });
        assert!((machine.aimed_deviation().0 - 3.0).abs() < 1e-12);
    }
}

#[test]
fn without_lag_a_step_is_there_at_once() {
    let mut machine = SimulatedMachine::new(mono(), 1);
    render(&mut machine, 100);
    machine.step_speed(Percent(-3.0));
    assert!((machine.true_deviation().0 + 3.0).abs() < 1e-12);
    machine.turn_trimmer(0.1);
    assert!((machine.true_deviation().0 + 2.0).abs() < 1e-12);
}

/// A cold machine: c exp(−t/τ). The pack: so much a minute.
#[test]
fn the_drifts_have_the_stated_slopes() {
    let config = MachineConfig {
        cold_percent: -0.4,
        warm_up_s: 90.0,
        pack_percent_per_min: 0.05,
        ..slow_clock()
    };
    let mut machine = SimulatedMachine::new(config, 1);
    for second in 0..300 {
        let t = f64::from(second);
        let expected = -0.4 * (-t / 90.0).exp() + 0.05 * t / 60.0;
        assert!(
            (machine.mean_deviation().0 - expected).abs() < 1e-7,
            "{second} s"
        );
        render(&mut machine, 1000);
    }
}

#[test]
fn the_hiss_is_as_far_below_the_tone_as_stated() {
    for snr_db in [20.0, 45.0] {
        let clean = MachineConfig::ideal();
        let noisy = MachineConfig {
            hiss_snr_db: Some(snr_db),
            ..clean.clone()
        };
        let tone = render(&mut SimulatedMachine::new(clean, 1), 480_000);
        let both = render(&mut SimulatedMachine::new(noisy, 1), 480_000);
        let tracks = [0, 1].map(|track| {
            let signal = tone.iter().skip(track).step_by(2);
            let with_hiss = both.iter().skip(track).step_by(2);
            let hiss: Vec<f64> = signal
                .clone()
                .zip(with_hiss)
                .map(|(tone, both)| f64::from(both - tone))
                .collect();
            let tone: Vec<f64> = signal.map(|x| f64::from(*x)).collect();
            let measured = 20.0 * (rms(tone.into_iter()) / rms(hiss.iter().copied())).log10();
            assert!((measured - snr_db).abs() < 0.05, "{measured} {snr_db}");
            hiss
        });
        // The tracks hiss apart, and no sample knows the one before.
        let [left, right] = tracks;
        let power = rms(left.iter().copied()).powi(2) * left.len() as f64;
        let across: f64 = left.iter().zip(&right).map(|(l, r)| l * r).sum();
        let along: f64 = left.windows(2).map(|pair| pair[0] * pair[1]).sum();
        assert!((across / power).abs() < 0.01 && (along / power).abs() < 0.01);
    }
}

/// A dropout seen in the samples: held against the same machine on a faultless
/// tape.
#[test]
fn dropouts_have_their_depth_and_length_in_the_samples() {
    let faultless = mono();
    let faulty = MachineConfig {
        dropouts: DropoutConfig {
            per_minute: 20.0,
            length_s: 0.025,
            depth_db: 14.0,
        },
        ..faultless.clone()
    };
    let frames = 48_000 * 30;
    let whole = render(&mut SimulatedMachine::new(faultless, 2), frames);
    let mut machine = SimulatedMachine::new(faulty, 2);
    let holed = render(&mut machine, frames);
    let floor = 10f64.powf(-14.0 / 20.0);
    let half_way = f64::midpoint(1.0, floor);
    // Near the zero crossings nothing can be said.
    let gains: Vec<f64> = whole
        .iter()
        .zip(&holed)
        .filter(|(whole, _)| whole.abs() > 0.05)
        .map(|(whole, holed)| f64::from(*holed) / f64::from(*whole))
        .collect();
    let deepest = gains.iter().copied().fold(1.0, f64::min);
    assert!((deepest - floor).abs() < 1e-5, "{deepest} {floor}");
    let count = machine.dropouts_begun();
    assert!((3..25).contains(&count), "{count}");
    let share = gains.iter().filter(|gain| **gain < half_way).count() as f64 / gains.len() as f64;
    let length_s = share * 30.0 / count as f64;
    assert!((length_s - 0.025).abs() < 0.0008, "{length_s}");
}

#[test]
fn the_same_seed_gives_the_same_samples_whatever_the_block_size() {
    // Handled at the same frames: at 4800 and at 9600.
    let play = |seed: u64, block: usize| {
        let mut machine = SimulatedMachine::new(everything(), seed);
        let mut samples = Vec::new();
        for act in 0..4 {
            let mut left = 4800;
            while left > 0 {
                let frames = block.min(left);
                samples.extend(render(&mut machine, frames));
                left -= frames;
            }
            match act {
                0 => machine.turn_trimmer(0.02),
                1 => machine.clean_wiper_stroke(),
                _ => machine.power_off(),
            }
        }
        samples
    };
    let once = play(5, 4800);
    for block in [1, 7, 480, 1024] {
        assert!(play(5, block) == once, "block {block}");
    }
    assert!(play(6, 4800) != once);
}

#[test]
fn a_fault_switched_off_leaves_the_others_as_they_were() {
    let with = everything();
    let without = MachineConfig {
        hiss_snr_db: None,
        hum: None,
        dropouts: DropoutConfig::none(),
        ..with.clone()
    };
    let mut a = SimulatedMachine::new(with, 9);
    let mut b = SimulatedMachine::new(without, 9);
    for n in 0..1000 {
        let (a_speed, b_speed) = (a.true_deviation().0, b.true_deviation().0);
        assert!((a_speed - b_speed).abs() < 1e-15, "{n}");
        render(&mut a, 100);
        render(&mut b, 100);
    }
}

#[test]
fn the_right_track_comes_later_and_louder() {
    let config = MachineConfig {
        right_later_us: 20.0,
        right_louder_db: 1.5,
        ..MachineConfig::ideal()
    };
    let peak = 10f64.powf((-12.0 + 1.5) / 20.0);
    let samples = render(&mut SimulatedMachine::new(config, 1), 48_000);
    for (n, frame) in samples.chunks_exact(2).enumerate() {
        let t = n as f64 / RATE - 20e-6;
        let expected = peak * (TAU * (3150.0 * t).fract()).sin();
        assert!((f64::from(frame[1]) - expected).abs() < 4e-8, "{n}");
    }
}

#[test]
fn power_off_stops_it_and_power_on_spins_it_up() {
    let config = MachineConfig {
        spin_s: 0.3,
        hiss_snr_db: Some(40.0),
        ..mono()
    };
    let mut machine = SimulatedMachine::new(config, 1);
    let ratio = |machine: &SimulatedMachine| machine.true_deviation().ratio();
    let left = |t: f64| (-t / 0.3).exp();
    machine.power_off();
    assert!(!machine.is_powered());
    assert_follows(&mut machine, 48_000, ratio, left);
    let stopped = render(&mut machine, 48_000 * 10);
    assert!(stopped.iter().skip(48_000).all(|x| x.abs() < 1e-9));
    assert!((machine.true_deviation().0 + 100.0).abs() < 1e-12);
    machine.power_on();
    assert_follows(&mut machine, 48_000, ratio, |t| 1.0 - left(t));
    render(&mut machine, 48_000 * 10);
    assert!(machine.true_deviation().0.abs() < 1e-12);
}

/// A machine that is off cools down and does not wind its tape on.
#[test]
fn switched_off_it_cools_and_its_tape_stands() {
    let config = MachineConfig {
        cold_percent: -0.4,
        warm_up_s: 50.0,
        pack_percent_per_min: 0.6,
        spin_s: 0.0,
        ..slow_clock()
    };
    let mut machine = SimulatedMachine::new(config, 1);
    render(&mut machine, 60_000);
    machine.power_off();
    render(&mut machine, 60_000);
    machine.power_on();
    render(&mut machine, 1);
    let warm: f64 = 1.0 - f64::exp(-60.0 / 50.0);
    let cold = 1.0 - warm * f64::exp(-60.0 / 50.0);
    let expected = 0.6 - 0.4 * cold;
    assert!(
        (machine.mean_deviation().0 - expected).abs() < 1e-4,
        "{} {expected}",
        machine.mean_deviation().0
    );
}

#[test]
fn dirt_moves_the_speed_through_the_lag_only_until_it_is_cleaned() {
    let config = MachineConfig {
        lag_s: 0.1,
        wiper: WiperConfig {
            rested_at: vec![0.5],
            spots_each: 1,
            reach: 0.0,
            half_width: 0.01,
            jump_percent: -0.7,
            crackle_percent: 0.0,
            crackles_per_second: 0.0,
            worn: false,
        },
        ..mono()
    };
    let mut machine = SimulatedMachine::new(config, 1);
    assert!((machine.mean_deviation().0 + 0.7).abs() < 1e-12);
    // Off the spot: it goes where the clean track would have it, +0.2 %.
    machine.turn_trimmer(0.02);
    assert_follows(&mut machine, 48_000, mean, |t| 0.2 - 0.9 * (-t / 0.1).exp());
    machine.power_off();
    for _ in 0..3 {
        machine.clean_wiper_stroke();
    }
    machine.power_on();
    machine.set_trimmer(0.5);
    assert!(machine.wiper_dirt().abs() < 1e-12);
    assert!(machine.aimed_deviation().0.abs() < 1e-12);
}

#[test]
fn an_overdriven_output_clips_and_never_exceeds_full_scale() {
    let config = MachineConfig {
        level_dbfs: 6.0,
        ..mono()
    };
    let samples = render(&mut SimulatedMachine::new(config, 1), 48_000);
    let clipped = samples.iter().filter(|x| x.abs() >= 1.0).count() as f64 / 48_000.0;
    // |2 sin| ≥ 1 for two thirds of the time.
    let peak = 10f64.powf(0.3);
    let expected = 1.0 - (1.0 / peak).asin() / std::f64::consts::FRAC_PI_2;
    assert!((clipped - expected).abs() < 0.01, "{clipped} {expected}");
    assert!(samples.iter().all(|x| x.abs() <= 1.0));
}

/// What practice, benchmarks and figures were taken on must stay what it was:
/// figures of sums over the samples, taken before parts with faults came in. A
/// random number more or less anywhere moves them by far more than a platform
/// whose `exp` ends in another bit.
#[test]
fn machines_that_were_invented_before_play_on_unchanged() {
    let digest = |config: MachineConfig, seed| {
        let mut machine = SimulatedMachine::new(config, seed);
        let samples = render(&mut machine, 96_000);
        let weighed = samples.iter().zip((1..=97).cycle());
        weighed
            .map(|(sample, by)| f64::from(*sample) * f64::from(by))
            .sum::<f64>()
    };
    let practice = |seed| digest(PracticeMachine::of_seed(seed).config, seed);
    for (got, frozen) in [
        (digest(everything(), 5), 709.107_212),
        (digest(MachineConfig::portable(), 1), -29.597_966),
        (digest(MachineConfig::deck(), 2), 106.455_653),
        (practice(1), -434.349_522),
        (practice(2), 209.090_640),
        (practice(4), 117.980_150),
    ] {
        assert!((got - frozen).abs() < 1e-3, "{got} {frozen}");
    }
}

/// The machines that benchmarks are run on read 0.15 % weighted two-sigma.
/// The weighting here is the table itself (IEC 60386, from memory) applied to
/// a long discrete spectrum: a judge that shares nothing with the filter of
/// the readings. Between the points of the table it draws straight lines,
/// which lie below the bowed curve: it reads 1 to 2 % low.
#[test]
fn the_named_flutter_models_read_what_they_say() {
    for (name, model) in [
        ("mix", FlutterModel::mix()),
        ("pure wow", FlutterModel::pure_wow()),
        ("correlated", FlutterModel::correlated()),
    ] {
        let mean = (0..8)
            .map(|seed| weighted_two_sigma(&model, seed))
            .sum::<f64>()
            / 8.0;
        assert!((mean / 0.15 - 0.985).abs() < 0.02, "{name}: {mean}");
    }
}

/// Usual weighted flutter: up to 0.3 % of a portable, 0.1 % of a deck (common
/// practice, no source).
#[test]
fn the_ready_machines_flutter_as_such_machines_do() {
    let portable = weighted_two_sigma(&MachineConfig::portable().flutter, 1);
    assert!((0.1..0.3).contains(&portable), "{portable}");
    let deck = weighted_two_sigma(&MachineConfig::deck().flutter, 1);
    assert!((0.03..0.1).contains(&deck), "{deck}");
    for seed in 0..6 {
        let practice = weighted_two_sigma(&PracticeMachine::of_seed(seed).config.flutter, seed);
        assert!((0.08..0.3).contains(&practice), "{seed}: {practice}");
    }
}

/// The table read off at any frequency, straight lines on double logarithmic
/// paper; nothing below and above it.
fn weighting_gain(hz: f64) -> f64 {
    WEIGHTING_DB
        .windows(2)
        .find(|pair| (pair[0].0..=pair[1].0).contains(&hz))
        .map_or(0.0, |pair| {
            let [(f0, d0), (f1, d1)] = [pair[0], pair[1]];
            let along = (hz / f0).ln() / (f1 / f0).ln();
            10f64.powf((d0 + (d1 - d0) * along) / 20.0)
        })
}

fn weighted_two_sigma(model: &FlutterModel, seed: u64) -> f64 {
    use realfft::RealFftPlanner;
    // 131 s at 1000 Hz; the ends, where the spectrum wraps round, left out.
    let n = 1 << 17;
    let config = MachineConfig {
        flutter: model.clone(),
        ..slow_clock()
    };
    let mut machine = SimulatedMachine::new(config, seed);
    let mut speed: Vec<f64> = (0..n)
        .map(|_| {
            render(&mut machine, 1);
            machine.true_deviation().0
        })
        .collect();
    let mut planner = RealFftPlanner::<f64>::new();
    let forward = planner.plan_fft_forward(n);
    let mut spectrum = forward.make_output_vec();
    forward
        .process(&mut speed, &mut spectrum)
        .expect("the lengths are the planner's own");
    for (k, bin) in spectrum.iter_mut().enumerate() {
        *bin *= weighting_gain(k as f64 * 1000.0 / n as f64) / n as f64;
    }
    planner
        .plan_fft_inverse(n)
        .process(&mut spectrum, &mut speed)
        .expect("the lengths are the planner's own");
    let mut levels: Vec<f64> = speed[5000..n - 5000].iter().map(|x| x.abs()).collect();
    levels.sort_by(f64::total_cmp);
    levels[levels.len() * 95 / 100]
}
