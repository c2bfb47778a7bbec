//! What the program makes of a sound that is no test tone: as a recording, and
//! live at every drawing of the screen.

use statrs::distribution::{Beta, ContinuousCDF};

use super::dice::Dice;
use super::foreign_sounds::{self, KINDS, TONE_LIKE};
use super::seeds;
use super::sound;
use super::sounds::{self, NO_TONES, RATE, Sound};
use tapewright::readings::{
    Engine, KeepRequest, Keeping, Measurement, Nominal, Reading, Settings, Steadiness,
};
use tapewright::units::{Hertz, Seconds};

/// What is chosen as reference, and where the sounds are made to lie.
pub const REFERENCES: [(Option<f64>, f64); 8] = [
    (Some(3150.0), 3150.0),
    (Some(3150.0), 3150.0),
    (Some(1000.0), 1000.0),
    (Some(440.0), 440.0),
    (Some(315.0), 315.0),
    (None, 3150.0),
    (None, 1000.0),
    (None, 440.0),
];

/// The screen is drawn this often.
const DRAWN_A_SECOND: u32 = 60;

/// As the key for a snapshot asks.
const KEEP: KeepRequest = KeepRequest {
    at_least: Seconds(5.0),
    at_most: Seconds(10.0),
};

fn settings(reference_hz: Option<f64>, sound: &Sound) -> Settings {
    let mut settings = sound::settings(RATE, sound.channels);
    let fixed = reference_hz.map(|hz| Nominal::Fixed(Hertz(hz)));
    settings.conditions.nominal = fixed.unwrap_or(Nominal::Nearest);
    settings
}

/// As `read` reads it.
fn recorded(settings: Settings, sound: &Sound) -> Measurement {
    let mut engine = sound::engine(settings).without_readings();
    engine.push(&sound.samples);
    engine.measurement()
}

/// Gives an engine a sound; what is drawn meanwhile.
fn watched(engine: &mut Engine, sound: &Sound, mut drawn: impl FnMut(&Reading)) {
    let block = (RATE / DRAWN_A_SECOND) as usize * usize::from(sound.channels);
    for block in sound.samples.chunks(block) {
        engine.push(block);
        drawn(&engine.reading());
    }
}

/// What was made of one sound.
#[derive(Clone, Debug)]
pub struct Heard {
    pub length_s: f64,
    /// As a recording it has a speed.
    pub accepted: Option<Measurement>,
    /// Live, digits stood on the screen for this long, and were called settled.
    pub shown_s: f64,
    pub settled_s: f64,
    /// A snapshot came about.
    pub kept: bool,
    /// Live, how long digits stood at most after a tone that was there before.
    pub lingers_s: f64,
}

/// A sound, first as a recording, then live, then live after five seconds of the
/// tone that is asked for.
pub fn heard(reference_hz: Option<f64>, tone_hz: f64, sound: &Sound) -> Heard {
    let settings = settings(reference_hz, sound);
    let measured = recorded(settings, sound);
    let is_accepted = measured.signal.usable || measured.speed.is_some();
    let mut heard = Heard {
        length_s: sound.samples.len() as f64 / f64::from(sound.channels) / f64::from(RATE),
        accepted: is_accepted.then_some(measured),
        shown_s: 0.0,
        settled_s: 0.0,
        kept: false,
        lingers_s: 0.0,
    };
    let each_s = 1.0 / f64::from(DRAWN_A_SECOND);
    let mut engine = sound::engine(settings);
    engine.keep(KEEP);
    watched(&mut engine, sound, |reading| {
        if let Some(speed) = reading.speed {
            heard.shown_s += each_s;
            heard.settled_s +=
                each_s * f64::from(u8::from(speed.steadiness == Steadiness::Settled));
        }
        heard.kept |= matches!(reading.keeping, Some(Keeping::Done(_)));
    });
    let mut engine = sound::engine(settings);
    watched(&mut engine, &clean(tone_hz, sound.channels), |_| {});
    assert!(
        engine.reading().speed.is_some(),
        "the tone before it is read"
    );
    let (mut now_s, mut first) = (0.0, None);
    watched(&mut engine, sound, |reading| {
        now_s += each_s;
        if reading.speed.is_none() {
            first.get_or_insert(now_s);
        }
    });
    heard.lingers_s = first.unwrap_or(now_s);
    heard
}

fn clean(hz: f64, channels: u16) -> Sound {
    let one = sound::sampled(RATE, 5.0, |t| 0.3 * sound::sine(hz * t));
    let each = |s: &f32| std::iter::repeat_n(*s, usize::from(channels));
    Sound {
        samples: one.iter().flat_map(each).collect(),
        channels,
    }
}

/// All sounds of a kind.
pub struct Kind {
    pub name: &'static str,
    pub heard: Vec<Heard>,
}

impl Kind {
    pub fn count(&self, is: impl Fn(&Heard) -> bool) -> usize {
        self.heard.iter().filter(|it| is(it)).count()
    }
}

/// All kinds, `each` sounds of each of the old ones and `foreign` of each of the
/// others, of this set of seeds.
pub fn all(each: u64, foreign: u64, set: u64) -> Vec<Kind> {
    let seed = |kind: usize, nth: u64| 1_000_000 * set + 10_000 * kind as u64 + nth;
    let hear = |make: &(dyn Fn(f64, u64) -> Sound + Sync), first: u64, count: u64| {
        seeds::each(first..first + count, |seed| {
            let (reference, hz) = REFERENCES[Dice::new(seed).below(REFERENCES.len())];
            heard(reference, hz, &make(hz, seed))
        })
    };
    let old = NO_TONES.iter().enumerate().map(|(kind, name)| Kind {
        name,
        heard: hear(&|hz, n| sounds::no_tone(kind, hz, n), seed(kind, 0), each),
    });
    let new = KINDS.iter().enumerate().map(|(kind, (name, _))| Kind {
        name,
        heard: hear(
            &|hz, n| foreign_sounds::foreign(kind, hz, n),
            seed(100 + kind, 0),
            foreign,
        ),
    });
    old.chain(new).collect()
}

/// Upper end of the one-sided 95 % interval of a share that was met `hits` times
/// of `of` (C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial
/// limits illustrated in the case of the binomial", Biometrika 26, 1934), in
/// percent: the 95 % quantile of Beta(hits + 1, of − hits).
pub fn at_most_percent(hits: usize, of: usize) -> f64 {
    if hits >= of {
        return 100.0;
    }
    let beta = Beta::new(hits as f64 + 1.0, (of - hits) as f64);
    100.0 * beta.expect("both are positive").inverse_cdf(0.95)
}

/// Prints what came of each kind, and of all.
pub fn table(kinds: &[Kind]) {
    seeds::head(
        "sound | sounds | read as a recording | kept live | digits shown live, s of s | settled, s | \
         digits stay after a tone, s at most",
    );
    let row = |name: &str, heard: &[&Heard]| {
        let sum = |of: fn(&Heard) -> f64| heard.iter().map(|it| of(it)).sum::<f64>();
        let longest = heard.iter().map(|it| it.lingers_s).fold(0.0, f64::max);
        let read = heard.iter().filter(|it| it.accepted.is_some()).count();
        let kept = heard.iter().filter(|it| it.kept).count();
        let shown = format!(
            "{:.1} of {:.0}",
            sum(|it| it.shown_s),
            sum(|it| it.length_s)
        );
        seeds::row(&[
            &name,
            &heard.len(),
            &read,
            &kept,
            &shown,
            &format!("{:.2}", sum(|it| it.settled_s)),
            &format!("{longest:.2}"),
        ]);
        println!(
            "| | | at most {:.2} % | at most {:.2} % | | | |",
            at_most_percent(read, heard.len()),
            at_most_percent(kept, heard.len())
        );
    };
    for kind in kinds {
        row(kind.name, &kind.heard.iter().collect::<Vec<_>>());
    }
    let everything: Vec<&Heard> = kinds.iter().flat_map(|kind| &kind.heard).collect();
    row("all", &everything);
}

/// How sounds that are a tone, though no test tape's, are read.
pub struct ToneLike {
    pub name: &'static str,
    pub refused: usize,
    pub right: usize,
    /// Measured and true frequency.
    pub wrong: Vec<[f64; 2]>,
}

/// `each` of every kind, of this set of seeds.
pub fn tone_like(each: u64, set: u64) -> Vec<ToneLike> {
    let kinds = TONE_LIKE.iter().enumerate();
    let told = kinds.map(|(kind, (name, _))| {
        let first = 1_000_000 * set + 10_000 * (200 + kind as u64);
        let read = seeds::each(first..first + each, |seed| {
            let (reference, tone_hz) = REFERENCES[Dice::new(seed).below(REFERENCES.len())];
            let (sound, hz) = foreign_sounds::tone_like(kind, tone_hz, seed);
            let speed = recorded(settings(reference, &sound), &sound).speed?;
            // Of a clock that is right.
            let parts = [speed.parts.noise, speed.parts.wow];
            let half: f64 = parts.into_iter().flatten().map(|it| it.0).sum();
            let measured = speed.measured?.0;
            let off_percent = 100.0 * (measured / hz - 1.0);
            Some((off_percent.abs() <= 2.0 * half + 0.01, [measured, hz]))
        });
        let wrong = read.iter().flatten().filter(|it| !it.0).map(|it| it.1);
        ToneLike {
            name,
            refused: read.iter().filter(|it| it.is_none()).count(),
            right: read.iter().flatten().filter(|it| it.0).count(),
            wrong: wrong.collect(),
        }
    });
    told.collect()
}

/// Nothing is read wrong, and not because nothing is read.
pub fn check_tone_like(all: &[ToneLike]) {
    for it in all {
        assert!(it.wrong.is_empty(), "{}: {:?}", it.name, it.wrong);
    }
    let sum = |of: fn(&ToneLike) -> usize| all.iter().map(of).sum::<usize>();
    let (right, refused) = (sum(|it| it.right), sum(|it| it.refused));
    assert!(5 * right > refused, "{right} right, {refused} refused");
}

/// Prints them.
pub fn tone_like_table(all: &[ToneLike]) {
    seeds::head("a tone, but no test tape's | refused | read right | wrong: Hz for Hz");
    for it in all {
        let wrong = it
            .wrong
            .iter()
            .map(|[got, hz]| format!("{got:.1} for {hz:.1}"));
        let wrong = wrong.collect::<Vec<_>>().join(", ");
        seeds::row(&[&it.name, &it.refused, &it.right, &wrong]);
    }
}

/// Nothing is read as a recording, called settled or kept; digits that are shown
/// live go again.
pub fn check(kinds: &[Kind]) {
    let all: Vec<&Heard> = kinds.iter().flat_map(|kind| &kind.heard).collect();
    let count = |is: fn(&&&Heard) -> bool| all.iter().filter(is).count();
    let read = count(|it| it.accepted.is_some());
    let kept = count(|it| it.kept);
    let settled = count(|it| it.settled_s > 0.0);
    assert_eq!([read, kept, settled], [0; 3], "read, kept, settled");
    let sum = |of: fn(&Heard) -> f64| all.iter().map(|it| of(it)).sum::<f64>();
    let shown = sum(|it| it.shown_s) / sum(|it| it.length_s);
    assert!(shown < 0.03, "{shown}");
    let stay = count(|it| it.lingers_s > 2.0);
    assert!(at_most_percent(stay, all.len()) < 2.0, "{stay}");
}
