//! The simulated machine as a source: its samples at real-time pace into the
//! ring, its trimmer in the user's hands.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread;
use std::time::{Duration, Instant};

use arc_swap::ArcSwap;

use super::ring::live_ring;
use super::source::{SourceEvent, SourceEvents, StreamFormat};
use crate::rehearsal::{
    Control, ControlConfig, Fingers, MachineConfig, RunConfig, SimulatedDeck, SweepingConfig,
    SweepingHand,
};

/// A block is this long: short enough for the hand on the trimmer. This and what
/// follows are choices.
const BLOCK_MS: u32 = 10;
/// Further behind than this (the program was suspended), the machine goes on
/// from now instead of catching up.
const GIVE_UP_CATCHING_UP: Duration = Duration::from_millis(250);

/// What the user does at the simulated machine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BenchCommand {
    /// Turn the trimmer by a share of its travel; it stops at its ends.
    Turn(f64),
    /// Work the wiper once to both ends and back. Cleans with the power off.
    CleanStroke,
    /// Sweep the trimmer through its travel and back with a trembling hand;
    /// any turn takes over.
    Sweep,
    /// Work its volume control once down and up again.
    WorkControl,
    /// Switch the machine on or off.
    Power(bool),
    /// Set its supply to this many volts.
    Supply(f64),
    /// Switch it to the speed or direction of this number, from 0.
    Run(usize),
}

/// What the user can see on the simulated machine. Its true speed is not
/// among it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BenchStatus {
    /// Where the trimmer stands, 0 to 1 of its travel.
    pub trimmer: f64,
    /// Whether the power is on.
    pub powered: bool,
    /// Cleaning strokes done with the power off.
    pub strokes: u32,
}

/// The user's end of a simulated machine at play.
pub struct Bench {
    commands: Sender<BenchCommand>,
    status: Arc<ArcSwap<BenchStatus>>,
}

impl Bench {
    /// Does something at the machine; it takes effect within 10 ms.
    pub fn send(&self, command: BenchCommand) {
        // A machine that is gone has nothing left to turn.
        let _ = self.commands.send(command);
    }

    /// How the machine stands; never waits.
    pub fn status(&self) -> BenchStatus {
        **self.status.load()
    }
}

/// Starts the machine on a thread of its own, which ends when nobody listens
/// any more. `name` is what the screen and the records call it and should say
/// that it is simulated. `others` are the speeds or directions that it has
/// beside that of `config`.
pub fn start(
    name: String,
    config: MachineConfig,
    others: &[RunConfig],
    seed: u64,
    events: SourceEvents,
) -> std::io::Result<Bench> {
    let (commands, receiver) = channel();
    let player = Player::new(config, others, seed, receiver);
    let status = Arc::clone(&player.status);
    thread::Builder::new()
        .name("rehearsal".into())
        .spawn(move || player.run(name, &events))?;
    Ok(Bench { commands, status })
}

/// An old control, dirty as the seed will have it.
fn control_of((rate_hz, channels): (u32, u16), seed: u64) -> ControlConfig {
    ControlConfig {
        rate_hz,
        channels,
        ..ControlConfig::dirty(seed)
    }
}

/// Down to a whisper and up again within some seconds.
fn working_hand() -> SweepingConfig {
    SweepingConfig {
        ends: [0.1, 1.0],
        round_trip_s: 6.0,
        rest_s: 0.4,
        ..SweepingConfig::calm()
    }
}

fn status_of(deck: &SimulatedDeck) -> BenchStatus {
    BenchStatus {
        trimmer: deck.machine.trimmer(),
        powered: deck.machine.is_powered(),
        strokes: deck.strokes(),
    }
}

struct Player {
    deck: SimulatedDeck,
    /// The volume control, between the machine and its output.
    control: Control,
    fingers: Fingers,
    /// A hand that sweeps, and for how many seconds it has.
    sweep: Option<(SweepingHand, f64)>,
    /// Makes every sweep another one.
    seed: u64,
    commands: Receiver<BenchCommand>,
    status: Arc<ArcSwap<BenchStatus>>,
}

impl Player {
    fn new(
        config: MachineConfig,
        others: &[RunConfig],
        seed: u64,
        commands: Receiver<BenchCommand>,
    ) -> Self {
        let config_of_control = (config.rate_hz, config.channels);
        let deck = SimulatedDeck::new(config, others, seed);
        Self {
            control: Control::new(control_of(config_of_control, seed), seed),
            fingers: Fingers::at(deck.machine.trimmer()),
            sweep: None,
            seed,
            status: Arc::new(ArcSwap::from_pointee(status_of(&deck))),
            deck,
            commands,
        }
    }

    fn run(mut self, name: String, events: &SourceEvents) {
        let format = StreamFormat {
            rate_hz: self.deck.machine.config().rate_hz,
            channels: self.deck.machine.config().channels,
        };
        let (mut writer, reader) = live_ring(format.rate_hz, format.channels);
        let connected = SourceEvent::Connected {
            format,
            reader,
            name,
            may_be_another: false,
        };
        if events.send(connected).is_err() {
            return;
        }
        let frames = (format.rate_hz * BLOCK_MS / 1000).max(1);
        let mut block = vec![0.0; frames as usize * usize::from(format.channels)];
        let mut pace = Pace::starting(
            Instant::now(),
            f64::from(frames) / f64::from(format.rate_hz),
        );
        while !writer.is_abandoned() {
            self.obey_until(pace.due());
            self.turn(f64::from(BLOCK_MS) / 1000.0);
            self.deck.machine.fill(&mut block);
            self.control.pass(&mut block);
            writer.push_all(&block, Duration::from_millis(u64::from(BLOCK_MS)));
            pace.block_done(Instant::now());
        }
    }

    /// Does what is asked until the time is up.
    fn obey_until(&mut self, due: Instant) {
        loop {
            let wait = due.saturating_duration_since(Instant::now());
            match self.commands.recv_timeout(wait) {
                Ok(command) => self.obey(command),
                Err(RecvTimeoutError::Timeout) => return,
                // Nobody at the trimmer any more, but somebody may listen.
                Err(RecvTimeoutError::Disconnected) => return thread::sleep(wait),
            }
        }
    }

    fn obey(&mut self, command: BenchCommand) {
        match command {
            BenchCommand::Turn(by) => {
                self.sweep = None;
                self.fingers.turn(by);
            }
            BenchCommand::WorkControl => self.control.work(working_hand()),
            BenchCommand::Sweep => self.begin_sweep(),
            BenchCommand::CleanStroke => {
                self.deck.clean_wiper_stroke();
                if !self.deck.machine.is_powered() {
                    self.control.clean_stroke();
                }
            }
            BenchCommand::Power(true) => self.deck.machine.power_on(),
            BenchCommand::Power(false) => self.deck.machine.power_off(),
            BenchCommand::Supply(volts) => self.deck.machine.set_supply_volts(volts),
            BenchCommand::Run(number) => {
                self.sweep = None;
                self.deck.switch_to(number);
                self.fingers = Fingers::at(self.deck.machine.trimmer());
            }
        }
        self.tell();
    }

    /// What the fingers do in this time.
    fn turn(&mut self, seconds: f64) {
        if let Some((hand, since)) = &mut self.sweep {
            *since += seconds;
            self.fingers = Fingers::at(hand.position_at(*since));
            if hand.is_done() {
                self.sweep = None;
            }
        } else if self.fingers.are_at_rest() {
            return;
        }
        self.fingers.advance(seconds);
        self.deck.machine.set_trimmer(self.fingers.position());
        self.tell();
    }

    fn begin_sweep(&mut self) {
        let start = self.fingers.position();
        self.seed = self.seed.wrapping_add(1);
        // One round hardly shows a dead place.
        let twice = SweepingConfig {
            round_trips: 2,
            ..SweepingConfig::calm()
        };
        let hand = SweepingHand::new(twice, start, self.seed);
        self.sweep = Some((hand, 0.0));
    }

    fn tell(&self) {
        let status = status_of(&self.deck);
        self.status.store(Arc::new(status));
    }
}

/// When each block is due. Counted from one start, so that small delays do
/// not add up.
#[derive(Clone, Copy, Debug)]
struct Pace {
    start: Instant,
    block_s: f64,
    blocks: u64,
}

impl Pace {
    fn starting(now: Instant, block_s: f64) -> Self {
        Self {
            start: now,
            block_s,
            blocks: 0,
        }
    }

    /// The moment at which the next block has just been played whole.
    fn due(&self) -> Instant {
        self.start + Duration::from_secs_f64((self.blocks + 1) as f64 * self.block_s)
    }

    fn block_done(&mut self, now: Instant) {
        self.blocks += 1;
        if now.saturating_duration_since(self.due()) > GIVE_UP_CATCHING_UP {
            *self = Self::starting(now, self.block_s);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::ring::{Popped, RingReader};
    use crate::rehearsal::SimulatedMachine;
    use std::sync::mpsc;

    fn started() -> (Bench, RingReader, StreamFormat) {
        let (events, incoming) = mpsc::channel();
        let name = "Test (simulated)";
        let bench = start(name.into(), MachineConfig::ideal(), &[], 1, events)
            .expect("a thread can be started");
        match incoming.recv().expect("connects") {
            SourceEvent::Connected {
                format,
                reader,
                name: said,
                ..
            } if said == name => (bench, reader, format),
            _ => panic!("the first event is not a connection"),
        }
    }

    /// Waits for frames of the left channel.
    fn take(reader: &mut RingReader, frames: usize) -> Vec<f32> {
        let mut left = Vec::new();
        let mut buffer = [0.0; 256];
        while left.len() < frames {
            let room = (2 * (frames - left.len())).min(256);
            match reader.pop(&mut buffer[..room]) {
                Popped::Samples(n) => left.extend(buffer[..n].chunks(2).map(|frame| frame[0])),
                Popped::Gap(lost) => panic!("{lost} frames lost"),
                Popped::Empty => thread::sleep(Duration::from_millis(1)),
            }
        }
        left
    }

    #[test]
    fn the_machines_own_samples_come_out() {
        let (_bench, mut reader, format) = started();
        assert_eq!((format.rate_hz, format.channels), (48_000, 2));
        let got = take(&mut reader, 4800);
        let mut expected = vec![0.0; 9600];
        SimulatedMachine::new(MachineConfig::ideal(), 1).fill(&mut expected);
        assert!(got.iter().eq(expected.iter().step_by(2)));
    }

    #[test]
    fn what_is_done_at_the_bench_is_seen_and_heard() {
        let (bench, mut reader, _) = started();
        assert!((bench.status().trimmer - 0.5).abs() < 1e-12);
        bench.send(BenchCommand::Power(false));
        bench.send(BenchCommand::CleanStroke);
        bench.send(BenchCommand::Turn(0.75));
        // However late either thread is, the output falls silent in the end.
        let quiet = |block: &[f32]| block.iter().all(|x| x.abs() < 1e-5);
        let blocks = (0..1000).find(|_| quiet(&take(&mut reader, 480)));
        assert!(blocks.is_some(), "ten seconds on it still plays");
        // What is heard was done before.
        let status = bench.status();
        assert!(!status.powered, "{status:?}");
        while bench.status().trimmer < 1.0 || bench.status().strokes < 1 {
            take(&mut reader, 480);
        }
    }

    #[test]
    fn the_hand_sweeps_out_and_back_twice() {
        let (_commands, receiver) = channel();
        let mut player = Player::new(MachineConfig::ideal(), &[], 1, receiver);
        player.obey(BenchCommand::Sweep);
        let (mut ends, mut seconds) = (Vec::new(), 0);
        while player.sweep.is_some() {
            assert!(seconds < 200, "{ends:?}");
            for _ in 0..100 {
                player.turn(0.01);
                let at = player.fingers.position();
                if !(0.05..=0.95).contains(&at) && ends.last() != Some(&(at > 0.5)) {
                    ends.push(at > 0.5);
                }
            }
            seconds += 1;
        }
        assert_eq!(ends, [false, true, false, true, false]);
    }

    #[test]
    fn it_ends_when_nobody_listens() {
        let (bench, reader, _) = started();
        drop(reader);
        // The commands' receiver goes with the thread.
        while bench.commands.send(BenchCommand::Turn(0.0)).is_ok() {
            thread::sleep(Duration::from_millis(1));
        }
    }

    #[test]
    fn the_pace_does_not_drift_and_does_not_race_after_a_pause() {
        let start = Instant::now();
        let mut pace = Pace::starting(start, 0.01);
        for block in 1..=100_000 {
            // Every block is done 3 ms late.
            let late = start + Duration::from_secs_f64(f64::from(block) * 0.01 + 0.003);
            pace.block_done(late);
        }
        let due = pace.due().duration_since(start).as_secs_f64();
        assert!((due - 1000.01).abs() < 1e-6, "{due}");
        let later = start + Duration::from_secs(2000);
        pace.block_done(later);
        let next = pace.due().duration_since(later).as_secs_f64();
        assert!((next - 0.01).abs() < 1e-6, "{next}");
    }
}
