//! Hears an ident in one channel.

use super::TONES_HZ;
use super::band::{Band, hz_of};
use super::doze::{Doze, LEAD_LOOKS};
use super::frame::Ident;
use super::message::{HOP, Message, SPEEDS, Start, decided};
use super::values::Values;
use rustfft::num_complex::Complex64;

/// Looks without a break by which a lead is known, some 0.2 s. Tuned, as all of
/// an ear, and judged by `--bench ident`.
const LEAD_HOPS: usize = 40;

/// A lead is a single tone: its values turn alike. 1 for a pure tone, near 0.2
/// for hiss in this band; 0.6 is a tone at 2 dB above the noise in the band.
const LEAD_COHERENCE: f64 = 0.6;

/// The lead has ended where the newest look turns faster by this factor: half
/// way from one tone to the other.
const JUMP: f64 = 1.25;

/// More at once than there could be is noise.
const MOST_WAITING: usize = 16;
const MOST_MESSAGES: usize = 4;

/// Hears idents in the samples of one channel, at any speed from −25 to
/// +25 %. Holds a second of the signal at most.
#[derive(Clone, Debug)]
pub struct IdentEar {
    doze: Doze,
    /// Looks until it sleeps again.
    awake: u32,
    band: Band,
    values: Values,
    /// Sum of turns and of powers of the newest looks, oldest first.
    looks: Vec<(Complex64, f64)>,
    /// End of the newest look.
    looked_to: u64,
    waiting: Vec<Start>,
    messages: Vec<Message>,
    /// The last message that was not understood.
    damaged: Option<Vec<f64>>,
}

impl IdentEar {
    /// For samples at this rate, at least 8000 a second.
    pub fn new(rate_hz: f64) -> Self {
        let band = Band::new(rate_hz);
        Self {
            doze: Doze::new(rate_hz, band.clone()),
            awake: 0,
            values: Values::new(rate_hz / band.factor() as f64),
            band,
            looks: Vec::new(),
            looked_to: 0,
            waiting: Vec::new(),
            messages: Vec::new(),
            damaged: None,
        }
    }

    /// Takes the next samples; each ident that ends in them is handed to
    /// `heard`.
    pub fn push(&mut self, mut samples: &[f32], mut heard: impl FnMut(Ident)) {
        while !samples.is_empty() {
            let (now, later) = samples.split_at(samples.len().min(self.doze.left()));
            samples = later;
            let look = self.doze.push(now);
            if self.awake > 0 {
                self.listen(now, &mut heard);
            }
            match look {
                Some(true) if self.awake == 0 => self.wake(&mut heard),
                Some(true) => self.awake = LEAD_LOOKS,
                Some(false) if self.is_idle() => self.awake = self.awake.saturating_sub(1),
                _ => {}
            }
        }
    }

    fn is_idle(&self) -> bool {
        self.waiting.is_empty() && self.messages.is_empty()
    }

    /// Begins with what was heard while it slept.
    fn wake(&mut self, heard: &mut impl FnMut(Ident)) {
        self.awake = LEAD_LOOKS;
        self.values = Values::new(self.values.rate_hz);
        self.looks.clear();
        self.looked_to = 0;
        let recent = self.doze.recent().to_vec();
        self.listen(&recent, heard);
    }

    fn listen(&mut self, samples: &[f32], heard: &mut impl FnMut(Ident)) {
        self.band.push(samples, &mut self.values.all);
        while self.values.end() >= self.looked_to + HOP as u64 {
            self.look();
            self.begin();
            self.follow(heard);
        }
        self.forget();
    }

    /// The next look: does a lead end here?
    fn look(&mut self) {
        let from = self.looked_to;
        self.looked_to += HOP as u64;
        let mut turn = Complex64::default();
        let mut power = 0.0;
        for at in from..self.looked_to {
            let (now, before) = (self.values.at(at), self.values.at(at.saturating_sub(1)));
            turn += now * before.conj();
            power += now.norm_sqr();
        }
        if self.looks.len() > LEAD_HOPS {
            // The newest look but one may hold some of the jump already.
            let lead = &self.looks[..LEAD_HOPS];
            // Cheapest first: what turns no faster than the slowest lead jumps
            // nowhere.
            let now_hz = hz_of(turn, self.values.rate_hz);
            if now_hz > JUMP * SPEEDS[0] * TONES_HZ[0]
                && let Some(lead_hz) = self.lead_hz(lead)
                && now_hz > JUMP * lead_hz
                && self.waiting.len() < MOST_WAITING
            {
                self.waiting.push(Start {
                    at: from,
                    speed: lead_hz / TONES_HZ[0],
                });
            }
            self.looks.remove(0);
        }
        self.looks.push((turn, power));
    }

    /// Frequency of the lead, if it is one.
    fn lead_hz(&self, lead: &[(Complex64, f64)]) -> Option<f64> {
        let mut sum = (Complex64::default(), 0.0);
        for (turn, power) in lead {
            sum.0 += turn;
            sum.1 += power;
        }
        let hz = hz_of(sum.0, self.values.rate_hz);
        let coherent = sum.0.norm() > LEAD_COHERENCE * sum.1;
        let speed = hz / TONES_HZ[0];
        (coherent && (SPEEDS[0]..=SPEEDS[1]).contains(&speed)).then_some(hz)
    }

    /// Looks for the beginning where enough has come in since.
    fn begin(&mut self) {
        let end = self.looked_to as f64;
        let is_ready = |start: &Start| start.ready_at(&self.values) <= end;
        let Some(ready) = self.waiting.iter().position(is_ready) else {
            return;
        };
        let start = self.waiting.remove(ready);
        let Some(message) = Message::begun(&self.values, start) else {
            return;
        };
        let bit = self.values.bit_length(message.speed);
        let is_new = |known: &Message| (known.began - message.began).abs() > bit;
        if self.messages.iter().all(is_new) && self.messages.len() < MOST_MESSAGES {
            self.messages.push(message);
        }
    }

    /// Follows the messages that have begun.
    fn follow(&mut self, heard: &mut impl FnMut(Ident)) {
        let mut messages = std::mem::take(&mut self.messages);
        messages.retain_mut(|message| {
            while message.has_next(self.looked_to as f64, &self.values) {
                message.take_bit(&self.values);
                if message.is_whole() {
                    if let Some(ident) = self.understood(&message.bits) {
                        heard(ident);
                    }
                    return false;
                }
            }
            true
        });
        self.messages = messages;
    }

    /// What a message says, by itself or together with a damaged one before.
    fn understood(&mut self, bits: &[f64]) -> Option<Ident> {
        let ident = Ident::from_bits(&decided(bits));
        let ident = ident.or_else(|| {
            let both = self.damaged.iter().flatten().zip(bits);
            let both: Vec<f64> = both.map(|(one, other)| one + other).collect();
            Ident::from_bits(&decided(&both))
        });
        self.damaged = ident.is_none().then(|| bits.to_vec());
        ident
    }

    /// Drops values that nobody will ask for again.
    fn forget(&mut self) {
        let waiting = self.waiting.iter().map(|start| start.at as f64);
        let followed = self.messages.iter().map(|message| message.at);
        let needed = waiting
            .chain(followed)
            .fold(self.looked_to as f64, f64::min);
        // A beginning is looked for a few bits back.
        let keep = self.values.rate_hz * 0.1;
        self.values.drop_before((needed - keep).max(0.0) as u64);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::ident::IdentBurst;
    use crate::signal::tone::Sound;
    use crate::units::Hertz;

    fn ident() -> Ident {
        let day = jiff::civil::date(2026, 11, 26);
        Ident::new("Bench deck 2", day, Hertz(3150.0)).unwrap()
    }

    /// The burst as a machine of this speed plays it, with quiet before.
    fn played(speed: f64, rate: f64) -> Vec<f32> {
        // Made at another rate, it is played at another speed.
        let burst = IdentBurst::new(&ident(), rate / speed, 0.25);
        let quiet = vec![0.0; (0.37 * rate) as usize];
        let sound = (0..burst.length()).map(|number| burst.sample(number) as f32);
        quiet.into_iter().chain(sound).chain([0.0; 4000]).collect()
    }

    fn heard(samples: &[f32], rate: f64, block: usize) -> Vec<Ident> {
        let mut ear = IdentEar::new(rate);
        let mut all = Vec::new();
        for block in samples.chunks(block) {
            ear.push(block, |ident| all.push(ident));
        }
        all
    }

    #[test]
    fn an_ident_is_heard_at_any_speed_and_rate() {
        for speed in [0.75, 0.9, 0.999, 1.0, 1.1, 1.25] {
            for rate in [8000.0, 44_100.0, 48_000.0, 192_000.0] {
                let heard = heard(&played(speed, rate), rate, 4096);
                assert_eq!(heard, [ident(), ident()], "{speed} {rate}");
            }
        }
    }

    #[test]
    fn a_tone_like_the_lead_before_it_hides_no_copy() {
        for start in 0..12 {
            for pause in [0, 4800] {
                // Until another place of the looks; the phase goes on.
                let tone = (0..72_000 + 400 * start)
                    .map(|n| 0.25 * (std::f64::consts::TAU * 800.0 * f64::from(n) / 48e3).sin());
                let mut samples: Vec<f32> = tone.map(|value| value as f32).collect();
                samples.resize(samples.len() + pause, 0.0);
                let burst = IdentBurst::new(&ident(), 48_000.0, 0.25);
                samples.extend((0..burst.length()).map(|n| burst.sample(n) as f32));
                samples.extend([0.0; 4000]);
                let heard = heard(&samples, 48_000.0, 4096);
                assert_eq!(heard, [ident(), ident()], "{start} {pause}");
            }
        }
    }

    #[test]
    fn the_size_of_the_blocks_does_not_matter() {
        let samples = played(0.97, 48_000.0);
        let [mut one, mut other] = [IdentEar::new(48_000.0), IdentEar::new(48_000.0)];
        one.push(&samples[..120_000], |_| {});
        for block in samples[..120_000].chunks(37) {
            other.push(block, |_| {});
        }
        let state = |ear: &IdentEar| {
            let message = ear
                .messages
                .first()
                .map(|it| (it.at, it.speed, it.bits.clone()));
            (ear.looked_to, message)
        };
        assert_eq!(state(&one), state(&other));
        assert!(state(&one).1.is_some());
    }

    #[test]
    fn two_damaged_copies_make_a_whole_one() {
        let mut samples = played(1.0, 48_000.0);
        // A dropout in each copy, at different bits.
        for (from_s, to_s) in [(1.5, 1.56), (4.6, 4.66)] {
            for sample in &mut samples[(from_s * 48e3) as usize..(to_s * 48e3) as usize] {
                *sample = 0.0;
            }
        }
        assert_eq!(heard(&samples, 48_000.0, 4096), [ident()]);
    }

    #[test]
    fn a_steady_tone_says_nothing() {
        for hz in [600.0, 800.0, 1000.0] {
            let samples: Vec<f32> = (0..240_000)
                .map(|n| (std::f64::consts::TAU * hz * f64::from(n) / 48e3).sin() as f32)
                .collect();
            assert!(heard(&samples, 48_000.0, 4096).is_empty(), "{hz}");
        }
    }

    #[test]
    fn it_sleeps_beside_a_test_tone_with_hiss() {
        use rand::{Rng, SeedableRng};
        let mut random = rand_pcg::Pcg64Mcg::seed_from_u64(1);
        let mut ear = IdentEar::new(48_000.0);
        let hiss = |random: &mut rand_pcg::Pcg64Mcg| {
            0.01 * (random.next_u32() as f32 / u32::MAX as f32 - 0.5)
        };
        for hz in [315.0, 1000.0, 3000.0, 3150.0] {
            // Going over from tone to tone may wake it.
            let mut awake = 0;
            for n in 0..480_000 {
                let tone = (std::f64::consts::TAU * hz * f64::from(n) / 48e3).sin();
                ear.push(&[0.5 * tone as f32 + hiss(&mut random)], |_| {});
                awake += u32::from(n >= 48_000 && ear.awake > 0);
            }
            assert_eq!(awake, 0, "{hz}");
        }
    }

    #[test]
    fn little_is_remembered() {
        let mut ear = IdentEar::new(48_000.0);
        for block in played(1.0, 48_000.0).chunks(4800) {
            ear.push(block, |_| {});
            assert!(ear.values.all.len() < 3200, "{}", ear.values.all.len());
        }
    }
}
