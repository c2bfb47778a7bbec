//! The program's own speed track, placed in time.

use tapewright::signal::speed_tracker::SpeedTracker;
use tapewright::signal::tracker::{Track, Tracker};

use super::judge::Phase;

/// The speed track of a mono record, added up to a phase so that it may be
/// asked for the mean speed between any two times.
pub fn phase(samples: &[f32], rate_hz: u32, range_hz: [f64; 2]) -> Phase {
    let mut tracker = Tracker::new(rate_hz, 1);
    tracker.set_ranges(vec![range_hz]);
    let tick = tracker.plan().tick();
    let step_s = 1.0 / tracker.plan().output_rate_hz();
    let mut out = Vec::new();
    let mut ticks = 0;
    for chunk in samples.chunks_exact(tick) {
        tracker.tick(&[chunk], &mut out);
        ticks += 1;
    }
    let mut turns = vec![0.0];
    for event in &out {
        match event {
            Track::Value(hz) => turns.push(turns[turns.len() - 1] + hz * step_s),
            Track::Lost(_) => panic!("the tone was lost"),
            _ => {}
        }
    }
    // The newest value ends the tracker's delay before the newest sample.
    let delay_s = tracker.delay_s().expect("a tone is followed");
    let last_s = (ticks * tick - 1) as f64 / f64::from(rate_hz) - delay_s;
    Phase {
        first_s: last_s - (turns.len() - 1) as f64 * step_s,
        step_s,
        turns,
    }
}
