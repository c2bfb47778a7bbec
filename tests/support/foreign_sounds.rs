//! Invented sounds that are no test tone, of kinds that nothing was tuned on,
//! and sounds that are a tone though no test tape carries it. The same seed
//! gives the same sound.

use std::f64::consts::{PI, TAU};

use super::dice::Dice;
use super::sounds::{RATE, Sound};

const RATE_HZ: f64 = RATE as f64;

/// What is no tone.
pub const KINDS: [(&str, Make); 31] = [
    ("sentences", sentences),
    ("whispering", whispering),
    ("singing", singing),
    ("piano-like melodies", piano),
    ("plucked strings", plucked),
    ("slow melodies", slow_melody),
    ("held chords", held_chord),
    ("bells", bells),
    ("arpeggios", arpeggios),
    ("swelling pads", pads),
    ("drum patterns", drums),
    ("sweeps", sweeps),
    ("modems", modem),
    ("computer tapes", computer_tape),
    ("pictures by radio", slow_picture),
    ("dialling", dialling),
    ("Morse", morse),
    ("birds", birds),
    ("motors", motors),
    ("buzz of the mains", buzz),
    ("rumble and crackle", rumble),
    ("wind", wind),
    ("rain", rain),
    ("noise in bands", band_noise),
    ("noise of some hertz", narrow_noise),
    ("noise with a beat", beaten_noise),
    ("random telegraph", telegraph),
    ("files played as sound", file_bytes),
    ("damaged numbers", damaged),
    ("next to nothing", next_to_nothing),
    ("rings of two tones", rings),
];

/// What is a tone to whoever hears it, with its frequency: one that may be read,
/// if it is read right.
pub const TONE_LIKE: [(&str, MakeTone); 6] = [
    ("full-scale square wave", square),
    ("held organ note", organ),
    ("whistle with vibrato", whistle),
    ("cricket", cricket),
    ("busy signal", busy),
    ("whine in a machine's noise", whine),
];

/// Samples of a mono sound near a tone, peak about 1.
pub type Make = fn(&mut Dice, usize, f64) -> Vec<f64>;
/// The same and the frequency of its fundamental.
pub type MakeTone = fn(&mut Dice, usize, f64) -> (Vec<f64>, f64);

fn seconds(n: usize) -> f64 {
    n as f64 / RATE_HZ
}

fn count(seconds: f64) -> usize {
    (seconds * RATE_HZ) as usize
}

fn put_on_tape(dice: &mut Dice, sound: &[f64], is_tame: bool) -> Sound {
    let peak = sound.iter().fold(1e-30, |peak: f64, s| peak.max(s.abs()));
    let gain = if is_tame {
        // That it is a sound at all.
        let power = sound.iter().map(|s| s * s).sum::<f64>() / sound.len() as f64;
        assert!(
            peak.is_finite() && power.sqrt() > 1e-3 * peak,
            "{peak}, {power}"
        );
        dice.ratio(0.02, 0.9) / peak
    } else {
        1.0
    };
    let hiss = if is_tame { dice.ratio(1e-5, 3e-3) } else { 0.0 };
    Sound {
        samples: (sound.iter())
            .map(|s| (gain * s + hiss * dice.bell()) as f32)
            .collect(),
        channels: 1,
    }
}

/// One of [`KINDS`].
pub fn foreign(kind: usize, tone_hz: f64, seed: u64) -> Sound {
    let mut dice = Dice::new(seed);
    let length = count(dice.between(3.0, 10.0));
    let (name, make) = KINDS[kind];
    let sound = make(&mut dice, length, tone_hz);
    let is_tame = ![
        "damaged numbers",
        "next to nothing",
        "files played as sound",
    ]
    .contains(&name);
    put_on_tape(&mut dice, &sound, is_tame)
}

/// One of [`TONE_LIKE`], and its fundamental.
pub fn tone_like(kind: usize, tone_hz: f64, seed: u64) -> (Sound, f64) {
    let mut dice = Dice::new(seed);
    let length = count(dice.between(4.0, 10.0));
    let (sound, hz) = TONE_LIKE[kind].1(&mut dice, length, tone_hz);
    let sound = if kind == 0 {
        let samples = sound.iter().map(|s| *s as f32).collect();
        Sound {
            samples,
            channels: 1,
        }
    } else {
        put_on_tape(&mut dice, &sound, true)
    };
    (sound, hz)
}

/// A resonance that can move: state-variable filter (Chamberlin 1980, from
/// memory), good far below a quarter of the rate.
#[derive(Default)]
struct Resonance {
    low: f64,
    band: f64,
}

impl Resonance {
    fn next(&mut self, input: f64, hz: f64, quality: f64) -> f64 {
        let f = 2.0 * (PI * hz.min(7000.0) / RATE_HZ).sin();
        self.low += f * self.band;
        let high = input - self.low - self.band / quality;
        self.band += f * high;
        self.band / quality
    }
}

/// A sine that can glide.
fn glide(length: usize, mut hz: impl FnMut(f64) -> f64) -> Vec<f64> {
    let mut turns = 0.0f64;
    (0..length)
        .map(|n| {
            turns = (turns + hz(seconds(n)) / RATE_HZ).fract();
            (TAU * turns).sin()
        })
        .collect()
}

fn mix(sound: &mut [f64], from: usize, part: &[f64], gain: f64) {
    for (slot, sample) in sound.iter_mut().skip(from).zip(part) {
        *slot += gain * sample;
    }
}

/// First and second formant of some vowels, Hz: the range of a grown voice, from
/// memory.
const VOWELS: [[f64; 3]; 6] = [
    [270.0, 2290.0, 3010.0],
    [390.0, 1990.0, 2550.0],
    [530.0, 1840.0, 2480.0],
    [730.0, 1090.0, 2440.0],
    [570.0, 840.0, 2410.0],
    [300.0, 870.0, 2240.0],
];

/// A source through three formants that glide from vowel to vowel.
fn voiced(dice: &mut Dice, source: &[f64], vowel_s: [f64; 2], size: f64) -> Vec<f64> {
    let mut bank: [Resonance; 3] = Default::default();
    let (mut from, mut to) = (dice.below(6), dice.below(6));
    let (mut at, mut length) = (0, 1);
    let mut sound = Vec::with_capacity(source.len());
    for sample in source {
        if at == length {
            (from, to, at) = (to, dice.below(6), 0);
            length = count(dice.between(vowel_s[0], vowel_s[1])).max(1);
        }
        let part = at as f64 / length as f64;
        at += 1;
        let mut sum = 0.0;
        for (nth, resonance) in bank.iter_mut().enumerate() {
            let hz = VOWELS[from][nth] + part * (VOWELS[to][nth] - VOWELS[from][nth]);
            sum += resonance.next(*sample, size * hz, 8.0) / (1.0 + nth as f64);
        }
        sound.push(sum);
    }
    sound
}

/// Pulses of the throat at a pitch that moves, with jitter and breath.
fn throat(dice: &mut Dice, length: usize, mut hz: impl FnMut(f64) -> f64) -> Vec<f64> {
    let mut turns = 0.0;
    let mut jitter = 1.0;
    (0..length)
        .map(|n| {
            turns += jitter * hz(seconds(n)) / RATE_HZ;
            if turns >= 1.0 {
                turns -= 1.0;
                jitter = dice.between(0.985, 1.015);
            }
            // Opens slowly, closes at once.
            let open = if turns < 0.6 { turns * turns } else { 0.0 };
            open - 0.1 + 0.02 * dice.bell()
        })
        .collect()
}

fn sentences(dice: &mut Dice, length: usize, _: f64) -> Vec<f64> {
    let pitch = dice.ratio(85.0, 300.0);
    let phrase_s = dice.between(1.2, 3.0);
    let lilt = dice.between(1.5, 4.0);
    let source = throat(dice, length, |t| {
        let fall = 1.2 - 0.4 * (t / phrase_s).fract();
        pitch * fall * (1.0 + 0.08 * (TAU * lilt * t).sin())
    });
    let size = dice.between(0.9, 1.3);
    let mut sound = voiced(dice, &source, [0.05, 0.25], size);
    let (syllables, hissing) = (dice.between(3.0, 6.0), dice.between(3000.0, 6500.0));
    let mut hiss = Resonance::default();
    for (n, sample) in sound.iter_mut().enumerate() {
        let t = seconds(n);
        let beat = (PI * syllables * t).sin().abs();
        let breath = hiss.next(dice.bell(), hissing, 2.0);
        let is_pause = (t / phrase_s).fract() > 0.85;
        *sample = if is_pause {
            0.0
        } else {
            *sample * beat + 0.05 * breath * (1.0 - beat)
        };
    }
    sound
}

fn whispering(dice: &mut Dice, length: usize, _: f64) -> Vec<f64> {
    let source: Vec<f64> = (0..length).map(|_| dice.bell()).collect();
    let size = dice.between(0.9, 1.3);
    let mut sound = voiced(dice, &source, [0.08, 0.4], size);
    let syllables = dice.between(2.0, 5.0);
    for (n, sample) in sound.iter_mut().enumerate() {
        *sample *= (PI * syllables * seconds(n)).sin().abs();
    }
    sound
}

fn semitones(steps: f64) -> f64 {
    (steps / 12.0).exp2()
}

/// Steps of a melody, some tenths of a second each.
fn melody(dice: &mut Dice, length: usize, note_s: [f64; 2]) -> Vec<(usize, usize, f64)> {
    let (mut at, mut step) = (0, 0.0f64);
    let mut notes = Vec::new();
    while at < length {
        let size = count(dice.between(note_s[0], note_s[1]));
        notes.push((at, size.min(length - at), semitones(step)));
        step += dice.one_of(&[
            -7.0, -5.0, -4.0, -3.0, -2.0, -1.0, 1.0, 2.0, 3.0, 4.0, 5.0, 7.0,
        ]);
        if step.abs() > 12.0 {
            step = 0.0;
        }
        at += size;
    }
    notes
}

fn singing(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let pitch = (tone_hz * dice.ratio(0.1, 1.0)).clamp(110.0, 900.0);
    let notes = melody(dice, length, [0.25, 1.0]);
    let (vibrato_hz, vibrato) = (dice.between(4.5, 6.5), dice.ratio(0.003, 0.02));
    let mut place = 0;
    let mut sounding = pitch;
    let source = throat(dice, length, |t| {
        while place + 1 < notes.len() && notes[place + 1].0 <= count(t) {
            place += 1;
        }
        // Slides from note to note.
        sounding += (pitch * notes[place].2 - sounding) / (0.03 * RATE_HZ);
        sounding * (1.0 + vibrato * (TAU * vibrato_hz * t).sin())
    });
    let size = dice.between(0.9, 1.3);
    voiced(dice, &source, [0.3, 1.0], size)
}

/// Partials of a stiff string that fall with time.
fn struck(dice: &mut Dice, hz: f64, length: usize, decay_s: f64) -> Vec<f64> {
    let stiffness = dice.ratio(1e-5, 1e-3);
    let mut sound = vec![0.0; length];
    for n in 1..12u32 {
        let order = f64::from(n);
        let partial = hz * order * (1.0 + stiffness * order * order).sqrt();
        if partial > 16_000.0 {
            break;
        }
        let fall_s = decay_s / (1.0 + 0.3 * order);
        let gain = order.powf(-1.1) * dice.between(0.3, 1.0);
        for (slot, (k, s)) in sound
            .iter_mut()
            .zip(glide(length, |_| partial).iter().enumerate())
        {
            *slot += gain * s * (-seconds(k) / fall_s).exp();
        }
    }
    sound
}

/// Notes that ring into each other.
fn piano(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let key = tone_hz * dice.ratio(0.08, 1.1);
    let mut sound = vec![0.0; length];
    for (at, size, ratio) in melody(dice, length, [0.12, 0.8]) {
        let ring = (size + count(0.6)).min(length - at);
        let decay_s = dice.between(0.4, 2.5);
        let note = struck(dice, key * ratio, ring, decay_s);
        mix(&mut sound, at, &note, dice.between(0.4, 1.0));
        if dice.chance(0.3) {
            let other = dice.one_of(&[3.0, 4.0, 7.0, -12.0]);
            let note = struck(dice, key * ratio * semitones(other), ring, decay_s);
            mix(&mut sound, at, &note, 0.6);
        }
    }
    sound
}

/// A delay line with a low-pass in its loop (Karplus and Strong 1983).
fn plucked(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let key = (tone_hz * dice.ratio(0.05, 1.0)).max(60.0);
    let mut sound = vec![0.0; length];
    for (at, size, ratio) in melody(dice, length, [0.2, 1.2]) {
        let period = (RATE_HZ / (key * ratio)).max(4.0) as usize;
        let mut line: Vec<f64> = (0..period).map(|_| dice.bell()).collect();
        let keep = dice.between(0.985, 0.999);
        for (k, slot) in sound[at..at + size].iter_mut().enumerate() {
            let here = k % period;
            let next = line[(here + 1) % period];
            *slot += line[here];
            line[here] = keep * f64::midpoint(line[here], next);
        }
    }
    sound
}

/// One note after the other, some of them held for seconds.
fn slow_melody(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let key = tone_hz * dice.between(0.6, 1.0);
    let mut sound = Vec::with_capacity(length);
    for (_, size, ratio) in melody(dice, length, [0.8, 2.2]) {
        let end = seconds(size);
        let note = glide(size, |_| key * ratio);
        let rises = |t: f64| (t / 0.05).min(1.0) * ((end - t) / 0.05).clamp(0.0, 1.0);
        sound.extend((note.iter().enumerate()).map(|(k, s)| s * rises(seconds(k))));
    }
    sound
}

/// Three notes at once from end to end, alike in loudness.
fn held_chord(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let key = tone_hz * dice.between(0.85, 1.0);
    let mut sound = vec![0.0; length];
    let inversion = dice.one_of(&[[0.0, 4.0, 7.0], [0.0, 3.0, 8.0], [0.0, 5.0, 9.0]]);
    for step in inversion {
        let hz = key * semitones(step);
        for partial in 1..4 {
            let partial = f64::from(partial);
            mix(
                &mut sound,
                0,
                &glide(length, |_| hz * partial),
                partial.powi(-2),
            );
        }
    }
    sound
}

fn bells(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let key = tone_hz * dice.ratio(0.1, 0.6);
    let mut sound = vec![0.0; length];
    for (at, _, ratio) in melody(dice, length, [0.3, 1.0]) {
        // Hum, prime, tierce, quint, nominal of a church bell, from memory.
        for (partial, gain) in [
            (0.5, 0.6),
            (1.0, 1.0),
            (1.2, 0.8),
            (1.5, 0.4),
            (2.0, 1.0),
            (2.67, 0.5),
        ] {
            let rest = length - at;
            let hz = key * ratio * partial * dice.between(0.99, 1.01);
            let fall_s = dice.between(0.3, 1.5);
            let ring = glide(rest, |_| hz);
            for (k, (slot, s)) in sound[at..].iter_mut().zip(&ring).enumerate() {
                *slot += gain * s * (-seconds(k) / fall_s).exp();
            }
        }
    }
    sound
}

fn arpeggios(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let key = tone_hz * dice.ratio(0.2, 0.9);
    let note_s = dice.between(0.06, 0.25);
    let chord = dice.one_of(&[
        [0.0, 4.0, 7.0, 12.0],
        [0.0, 3.0, 7.0, 10.0],
        [0.0, 3.0, 6.0, 9.0],
    ]);
    let duty = dice.between(0.1, 0.5);
    let mut turns = 0.0f64;
    (0..length)
        .map(|n| {
            let nth = (seconds(n) / note_s) as usize;
            let bar = [0.0, 5.0, 7.0, -2.0][(nth / 16) % 4];
            turns = (turns + key * semitones(bar + chord[nth % 4]) / RATE_HZ).fract();
            if turns < duty { 1.0 } else { -1.0 }
        })
        .collect()
}

/// Chords of detuned saws that swell.
fn pads(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let key = tone_hz * dice.ratio(0.08, 0.5);
    let chord_s = dice.between(1.0, 3.0);
    let mut voices: Vec<(f64, f64, f64)> = Vec::new();
    for step in [0.0, 4.0, 7.0, 11.0] {
        for _ in 0..3 {
            voices.push((step, dice.between(0.994, 1.006), dice.unit()));
        }
    }
    (0..length)
        .map(|n| {
            let t = seconds(n);
            let root = [0.0, -3.0, 5.0, 7.0][(t / chord_s) as usize % 4];
            let swell = (PI * (t / chord_s).fract()).sin();
            let mut sum = 0.0;
            for (step, off, turns) in &mut voices {
                *turns = (*turns + key * *off * semitones(root + *step) / RATE_HZ).fract();
                sum += 2.0 * *turns - 1.0;
            }
            sum * swell
        })
        .collect()
}

fn drums(dice: &mut Dice, length: usize, _: f64) -> Vec<f64> {
    let beat_s = dice.between(0.2, 0.45);
    let (low, skin) = (dice.between(45.0, 80.0), dice.between(150.0, 330.0));
    let mut sound = vec![0.0; length];
    for nth in 0.. {
        let at = count(f64::from(nth) * beat_s / 2.0);
        if at >= length {
            return sound;
        }
        let rest = (length - at).min(count(0.5));
        if nth % 8 == 0 || dice.chance(0.1) {
            let kick = glide(rest, |t| low * (1.0 + 4.0 * (-t / 0.03).exp()));
            for (k, (slot, s)) in sound[at..].iter_mut().zip(&kick).enumerate() {
                *slot += 1.5 * s * (-seconds(k) / 0.15).exp();
            }
        }
        if nth % 8 == 4 {
            let body = glide(rest, |_| skin);
            for (k, (slot, s)) in sound[at..].iter_mut().zip(&body).enumerate() {
                *slot += (0.6 * s + dice.bell()) * (-seconds(k) / 0.09).exp();
            }
        }
        if dice.chance(0.7) {
            let mut last = 0.0;
            for (k, slot) in sound[at..at + rest.min(count(0.1))].iter_mut().enumerate() {
                let now = dice.bell();
                *slot += 0.4 * (now - last) * (-seconds(k) / 0.03).exp();
                last = now;
            }
        }
    }
    sound
}

/// As loudspeakers are measured by: faster through the range than any tape.
fn sweeps(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let whole_s = seconds(length);
    let (low, high) = (20.0, 20_000.0f64);
    match dice.below(3) {
        0 => glide(length, |t| low * (high / low).powf(t / whole_s)),
        1 => glide(length, |t| high + (low - high) * t / whole_s),
        _ => {
            // In steps of a third of an octave.
            let step_s = dice.between(0.1, 0.35);
            glide(length, |t| {
                tone_hz * ((t / step_s).floor() / 3.0 - 4.0).exp2().min(5.0)
            })
        }
    }
}

/// Bits of chance at a rate, a frequency for each, the phase unbroken.
fn keyed(dice: &mut Dice, length: usize, bits_per_s: f64, hz: [f64; 2]) -> Vec<f64> {
    let (mut bit, mut until) = (0, 0.0);
    glide(length, |t| {
        if t >= until {
            bit = dice.below(2);
            until += 1.0 / bits_per_s;
        }
        hz[bit]
    })
}

fn modem(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    // Rates and shifts of the telephone modems of ITU-T V.21 and V.23 and of
    // 1200 bit/s on 1200 and 2200 Hz, from memory; the last is moved to where
    // the tone is looked for.
    let here = tone_hz * dice.between(0.85, 1.15);
    let (rate, hz) = dice.one_of(&[
        (300.0, [980.0, 1180.0]),
        (300.0, [1650.0, 1850.0]),
        (1200.0, [1300.0, 2100.0]),
        (1200.0, [1200.0, 2200.0]),
        (300.0, [here, 1.06 * here]),
        (50.0, [here, here + 170.0]),
    ]);
    keyed(dice, length, rate, hz)
}

/// One or two swings of a tone for each bit.
fn computer_tape(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let high = dice.one_of(&[2400.0, tone_hz]) * dice.between(0.95, 1.05);
    let mut sound = Vec::with_capacity(length);
    while sound.len() < length {
        let (hz, swings) = if dice.chance(0.5) {
            (high, 2.0)
        } else {
            (high / 2.0, 1.0)
        };
        let size = (swings * RATE_HZ / hz) as usize;
        sound.extend((0..size).map(|k| {
            if (TAU * hz * seconds(k)).sin() >= 0.0 {
                1.0
            } else {
                -1.0
            }
        }));
    }
    sound.truncate(length);
    sound
}

/// Brightness as frequency, line after line.
fn slow_picture(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let black = dice.one_of(&[1500.0, tone_hz * 0.8]);
    let line_s = dice.between(0.06, 0.5);
    let (mut grey, mut until) = (0.5, 0.0);
    glide(length, |t| {
        if (t / line_s).fract() * line_s < 0.005 {
            return 0.8 * black;
        }
        if t >= until {
            grey = dice.unit();
            until = t + dice.between(0.0005, 0.01);
        }
        black * (1.0 + 0.53 * grey)
    })
}

/// Two tones for each key (ITU-T Q.23, from memory).
fn dialling(dice: &mut Dice, length: usize, _: f64) -> Vec<f64> {
    let (on_s, off_s) = (dice.between(0.05, 0.3), dice.between(0.04, 0.2));
    let mut sound = vec![0.0; length];
    let mut at = 0;
    while at < length {
        let low = dice.one_of(&[697.0, 770.0, 852.0, 941.0]);
        let high = dice.one_of(&[1209.0, 1336.0, 1477.0, 1633.0]);
        for hz in [low, high] {
            mix(&mut sound, at, &glide(count(on_s), |_| hz), 0.5);
        }
        at += count(on_s + off_s);
    }
    sound
}

fn morse(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let hz = tone_hz * dice.between(0.85, 1.2);
    let dot = count(dice.between(0.04, 0.12));
    let mut sound = glide(length, |_| hz);
    let mut at = 0;
    while at < length {
        for _ in 0..=dice.below(4) {
            at += dot * dice.one_of(&[1, 3]);
            let end = (at + dot).min(length);
            sound[at.min(length)..end].fill(0.0);
            at = end;
        }
        let end = (at + 2 * dot * (1 + dice.below(3))).min(length);
        sound[at..end].fill(0.0);
        at = end;
    }
    sound
}

fn birds(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let mut sound = vec![0.0; length];
    let mut at = 0;
    while at < length {
        let size = count(dice.between(0.03, 0.25));
        let (from, to) = (
            dice.between(0.6, 1.6) * tone_hz,
            dice.between(0.6, 1.6) * tone_hz,
        );
        let (trill_hz, trill) = (dice.between(10.0, 45.0), dice.between(0.0, 0.15));
        let end = seconds(size);
        let chirp = glide(size, |t| {
            (from + (to - from) * t / end) * (1.0 + trill * (TAU * trill_hz * t).sin())
        });
        let shaped: Vec<f64> = (chirp.iter().enumerate())
            .map(|(k, s)| s * (PI * k as f64 / size as f64).sin())
            .collect();
        mix(&mut sound, at, &shaped, dice.between(0.3, 1.0));
        at += size + count(dice.between(0.01, 0.6));
    }
    sound
}

/// Many harmonics of a shaft that speeds up and slows down.
fn motors(dice: &mut Dice, length: usize, _: f64) -> Vec<f64> {
    let idle = dice.between(25.0, 90.0);
    let (swing, every) = (dice.between(0.15, 0.6), dice.between(2.0, 6.0));
    let mut turns = 0.0f64;
    let gains: Vec<f64> = (1..25).map(|n| dice.unit() / f64::from(n)).collect();
    (0..length)
        .map(|n| {
            let hz = idle * (1.0 + swing * (TAU * seconds(n) / every).sin());
            turns += hz / RATE_HZ;
            let tones = (1..)
                .zip(&gains)
                .map(|(k, gain)| gain * (TAU * f64::from(k) * turns).sin());
            tones.sum::<f64>() + 0.2 * dice.bell()
        })
        .collect()
}

/// Spikes of a dimmer at twice the mains.
fn buzz(dice: &mut Dice, length: usize, _: f64) -> Vec<f64> {
    let mains = dice.one_of(&[50.0, 60.0]) * dice.between(0.999, 1.001);
    let (angle, sharp) = (dice.between(0.1, 0.9), dice.ratio(1e-4, 2e-3));
    (0..length)
        .map(|n| {
            let half = (2.0 * mains * seconds(n)).fract();
            let since = (half - angle).rem_euclid(1.0) / (2.0 * mains);
            (-since / sharp).exp() + 0.1 * (TAU * mains * seconds(n)).sin()
        })
        .collect()
}

fn rumble(dice: &mut Dice, length: usize, _: f64) -> Vec<f64> {
    let (mut low, mut lower) = (0.0, 0.0);
    let pops = dice.ratio(1.0, 40.0) / RATE_HZ;
    let mut pop = 0.0;
    (0..length)
        .map(|_| {
            low += (dice.bell() - low) * TAU * 40.0 / RATE_HZ;
            lower += (low - lower) * TAU * 25.0 / RATE_HZ;
            pop *= 0.9;
            if dice.chance(pops) {
                pop = dice.between(-1.0, 1.0);
            }
            20.0 * lower + pop + 0.003 * dice.bell()
        })
        .collect()
}

fn wind(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let (middle, every) = (tone_hz * dice.ratio(0.2, 1.2), dice.between(0.7, 4.0));
    let (swing, quality) = (dice.between(0.1, 0.5), dice.ratio(2.0, 20.0));
    let mut howl = Resonance::default();
    (0..length)
        .map(|n| {
            let t = seconds(n);
            let hz = middle * (1.0 + swing * (TAU * t / every).sin());
            howl.next(dice.bell(), hz, quality) * (1.2 + (TAU * t / 2.7).sin())
        })
        .collect()
}

fn rain(dice: &mut Dice, length: usize, _: f64) -> Vec<f64> {
    let drops = dice.ratio(50.0, 5000.0) / RATE_HZ;
    let mut drop = Resonance::default();
    let (hz, quality) = (dice.ratio(800.0, 6000.0), dice.between(0.7, 4.0));
    (0..length)
        .map(|_| {
            let hit = if dice.chance(drops) { dice.bell() } else { 0.0 };
            drop.next(hit, hz, quality)
        })
        .collect()
}

/// Widths from 10 Hz to an octave.
fn band_noise(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let hz = tone_hz * dice.between(0.85, 1.2);
    let quality = hz / dice.ratio(10.0, 0.7 * hz);
    let mut bank: [Resonance; 2] = Default::default();
    (0..length)
        .map(|_| {
            let mut sample = dice.bell();
            for resonance in &mut bank {
                sample = resonance.next(sample, hz, quality);
            }
            sample
        })
        .collect()
}

/// Of 6 to 20 Hz: it sways like a bad tape, but has no frequency.
fn narrow_noise(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let hz = tone_hz * dice.between(0.9, 1.1);
    let quality = hz / dice.ratio(6.0, 20.0);
    let mut bank: [Resonance; 2] = Default::default();
    (0..length)
        .map(|_| {
            let once = bank[0].next(dice.bell(), hz, quality);
            bank[1].next(once, hz, quality)
        })
        .collect()
}

/// Noise whose loudness swings at a tone's rate, or at a beat's.
fn beaten_noise(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let slow_hz = dice.ratio(1.0, 200.0);
    let hz = dice.one_of(&[tone_hz, tone_hz / 2.0, slow_hz]);
    let depth = dice.between(0.5, 1.0);
    (0..length)
        .map(|n| dice.bell() * (1.0 + depth * (TAU * hz * seconds(n)).sin()))
        .collect()
}

/// Full scale, up or down, changing by chance.
fn telegraph(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let changes = tone_hz * dice.ratio(0.1, 3.0) / RATE_HZ;
    let mut state = 1.0;
    (0..length)
        .map(|_| {
            if dice.chance(changes) {
                state = -state;
            }
            state
        })
        .collect()
}

/// Text, tables and packed bytes.
fn file_bytes(dice: &mut Dice, length: usize, _: f64) -> Vec<f64> {
    let row = 16 + dice.below(64);
    let kind = dice.below(3);
    let table: Vec<u8> = (0..row).map(|_| dice.below(256) as u8).collect();
    let byte = |dice: &mut Dice, n: usize| match kind {
        0 => 97 + dice.below(26) as u8,
        1 if !dice.chance(0.1) => table[n % row],
        _ => dice.below(256) as u8,
    };
    (0..length)
        .map(|n| {
            let low = byte(dice, 2 * n);
            let high = byte(dice, 2 * n + 1);
            f64::from(i16::from_le_bytes([low, high])) / 32_768.0
        })
        .collect()
}

/// Any bits at all as numbers: NaN, infinities, huge ones, denormal ones.
fn damaged(dice: &mut Dice, length: usize, _: f64) -> Vec<f64> {
    let part = dice.ratio(1e-4, 1.0);
    (0..length)
        .map(|_| {
            if dice.chance(part) {
                f64::from(f32::from_bits(dice.below(1 << 32) as u32))
            } else {
                0.01 * dice.bell()
            }
        })
        .collect()
}

/// Denormal numbers, dither, a constant.
fn next_to_nothing(dice: &mut Dice, length: usize, _: f64) -> Vec<f64> {
    let constant = dice.one_of(&[0.0, 1e-20, 0.5, -0.999]);
    let grain = dice.one_of(&[0.0, 1e-42, 1e-38, 1.0 / 32_768.0, 1.0 / 8_388_608.0]);
    (0..length)
        .map(|_| constant + grain * (dice.below(3) as f64 - 1.0))
        .collect()
}

/// Two tones multiplied: neither is there.
fn rings(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let hz = tone_hz * dice.between(0.9, 1.1);
    let by = hz * dice.between(0.02, 0.4);
    let other = glide(length, |_| by);
    let mut sound = glide(length, |_| hz);
    for (sample, other) in sound.iter_mut().zip(other) {
        *sample *= other;
    }
    sound
}

/// Not in step with the samples; half of them far from any tone that is asked
/// for, a third of it or five times as high.
fn square(dice: &mut Dice, length: usize, tone_hz: f64) -> (Vec<f64>, f64) {
    let place = dice.one_of(&[1.0, 1.0, 0.33, 0.2, 0.5, 2.0]);
    let hz = tone_hz * place * dice.between(0.9, 1.1);
    let sound = glide(length, |_| hz).iter().map(|s| s.signum()).collect();
    (sound, hz)
}

fn organ(dice: &mut Dice, length: usize, tone_hz: f64) -> (Vec<f64>, f64) {
    let hz = tone_hz * dice.one_of(&[1.0, 0.5, 0.25, 0.333]) * dice.between(0.9, 1.1);
    let mut sound = vec![0.0; length];
    for partial in [1.0, 2.0, 3.0, 4.0, 6.0, 8.0] {
        mix(
            &mut sound,
            0,
            &glide(length, |_| hz * partial),
            dice.unit() / partial,
        );
    }
    mix(&mut sound, 0, &glide(length, |_| hz), 0.5);
    (sound, hz)
}

fn whistle(dice: &mut Dice, length: usize, tone_hz: f64) -> (Vec<f64>, f64) {
    let hz = tone_hz * dice.between(0.9, 1.1);
    let (rate, depth) = (dice.between(4.0, 7.0), dice.ratio(0.001, 0.01));
    let mut sound = glide(length, |t| hz * (1.0 + depth * (TAU * rate * t).sin()));
    for sample in &mut sound {
        *sample += 0.01 * dice.bell();
    }
    (sound, hz)
}

fn cricket(dice: &mut Dice, length: usize, tone_hz: f64) -> (Vec<f64>, f64) {
    let hz = tone_hz * dice.between(0.9, 1.1);
    let pulses = dice.between(15.0, 60.0);
    let mut sound = glide(length, |_| hz);
    for (n, sample) in sound.iter_mut().enumerate() {
        *sample *= (PI * pulses * seconds(n)).sin().powi(2);
    }
    (sound, hz)
}

fn busy(dice: &mut Dice, length: usize, tone_hz: f64) -> (Vec<f64>, f64) {
    let hz = tone_hz * dice.between(0.9, 1.1);
    let half_s = dice.one_of(&[0.25, 0.5]);
    let mut sound = glide(length, |_| hz);
    for (n, sample) in sound.iter_mut().enumerate() {
        if (seconds(n) / half_s) as usize % 2 == 1 {
            *sample = 0.0;
        }
    }
    (sound, hz)
}

fn whine(dice: &mut Dice, length: usize, tone_hz: f64) -> (Vec<f64>, f64) {
    let hz = tone_hz * dice.between(0.9, 1.1);
    let mut sound = motors(dice, length, tone_hz);
    mix(&mut sound, 0, &glide(length, |_| hz), dice.ratio(0.1, 2.0));
    (sound, hz)
}
