//! Two channels of a tone in words: level, balance, and the time between them.

use super::numbers::{beside_uncertainty, rounded_up, signed, with_uncertainty};
use crate::readings::TwoChannels;
use crate::units::Hertz;

/// Where the loss in mono is reckoned.
const TREBLE: Hertz = Hertz(10_000.0);

/// "L -12.1, R -12.9 dB".
pub fn levels(channels: &TwoChannels) -> String {
    let [left, right] = [channels.level_left, channels.level_right];
    format!("L {}, R {} dB", signed(left.0, 1), signed(right.0, 1))
}

/// "balance +0.80 dB ±0.05 dB": left minus right.
pub fn balance(channels: &TwoChannels) -> String {
    let known = channels.balance_uncertainty.map(|it| it.0.max(0.01));
    let value = beside_uncertainty(channels.balance.0, known);
    let around = known.map_or_else(String::new, |known| format!(" ±{} dB", rounded_up(known)));
    format!("balance {value} dB{around}")
}

/// "right 3.2 ±0.1 µs later".
pub fn lag(channels: &TwoChannels) -> String {
    let lag_us = channels.right_lags_us;
    let later = if lag_us < 0.0 { "left" } else { "right" };
    // Heads, tape and inputs delay tones of different pitch by about as much.
    let known = channels.right_lags_uncertainty_us.map(|it| it.max(0.1));
    let value = with_uncertainty(lag_us.abs(), known.or(Some(1.0)), false);
    let value = match known {
        Some(_) => value.as_str(),
        None => value.split(' ').next().unwrap_or_default(),
    };
    format!("{later} {value} µs later")
}

/// By what the time may be off: whole periods, or a plug wired the other way
/// round. `None` where it is known.
pub fn doubt(channels: &TwoChannels) -> Option<String> {
    if channels.inverted {
        return Some("one channel is wired the other way round".to_owned());
    }
    let period_us = channels.ambiguous_by_us?;
    Some(format!(
        "or whole periods of {period_us:.1} µs more or less: a second tone tells"
    ))
}

/// "-0.04 dB at 10 kHz in mono, 20 log |cos(π f t)|".
pub fn mono_loss(channels: &TwoChannels) -> String {
    let loss = channels.mono_loss(TREBLE).0;
    let loss = if loss < -40.0 {
        "below -40".to_owned()
    } else {
        format!("{loss:.2}")
    };
    format!("{loss} dB at 10 kHz in mono, 20 log |cos(π f t)|")
}
