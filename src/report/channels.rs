//! Two channels of a tone in words: level, balance, and the time between them.

use super::numbers::{beside_uncertainty, rounded_up, signed, with_uncertainty};
use crate::readings::{MonoLoss, TREBLE, TwoChannels};

/// "L -12.1, R -12.9 dB, left is louder".
pub fn levels(channels: &TwoChannels) -> String {
    let [left, right] = [channels.level_left, channels.level_right];
    let levels = format!("L {}, R {} dB", signed(left.0, 1), signed(right.0, 1));
    let balance = channels.balance.0;
    let known = channels.balance_known();
    if known.is_none_or(|known| balance.abs() <= known.0) {
        return levels;
    }
    let louder = if balance > 0.0 { "left" } else { "right" };
    format!("{levels}, {louder} is louder")
}

/// "balance +0.80 dB ±0.05 dB": left minus right.
pub fn balance(channels: &TwoChannels) -> String {
    let known = channels.balance_known().map(|it| it.0);
    let value = beside_uncertainty(channels.balance.0, known);
    let around = known.map_or_else(String::new, |known| format!(" ±{} dB", rounded_up(known)));
    format!("balance {value} dB{around}")
}

/// The channel that comes later.
pub fn later(channels: &TwoChannels) -> &'static str {
    if channels.right_lags_us < 0.0 {
        "left"
    } else {
        "right"
    }
}

/// "right 3.2 ±0.1 µs later".
pub fn lag(channels: &TwoChannels) -> String {
    let lag_us = channels.right_lags_us.abs();
    let known = channels.lag_known_us();
    let value = with_uncertainty(lag_us, known.or(Some(1.0)), false);
    let value = match known {
        Some(_) => value.as_str(),
        None => value.split(' ').next().unwrap_or_default(),
    };
    format!("{} {value} µs later", later(channels))
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

/// "-0.04 dB at 10 kHz in mono, 20 log |cos(pi f t)|".
pub fn mono_loss(channels: &TwoChannels) -> String {
    let treble = format!("{:.0} kHz", TREBLE.0 / 1000.0);
    let loss = match channels.mono_loss() {
        MonoLoss::Inverted => return "mono cancels".to_owned(),
        MonoLoss::BeyondHalfTurn => {
            return format!("beyond a half turn at {treble}: treble cancels in mono");
        }
        MonoLoss::By(loss) if loss.0 < -40.0 => "below -40".to_owned(),
        MonoLoss::By(loss) => format!("{:.2}", loss.0),
    };
    let open = channels.ambiguous_by_us.is_some();
    let of_smallest = if open { " for the smallest time" } else { "" };
    format!("{loss} dB at {treble} in mono{of_smallest}, 20 log |cos(pi f t)|")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    fn of(right_lags_us: f64) -> TwoChannels {
        TwoChannels {
            right_lags_us,
            ambiguous_by_us: None,
            ..sample::channels()
        }
    }

    #[test]
    fn a_loss_in_mono_is_told_only_where_there_is_a_figure_for_it() {
        let said = mono_loss(&of(10.0));
        assert!(said.starts_with("-0.44 dB at 10 kHz in mono"), "{said}");
        assert!(!said.contains("smallest"), "{said}");
        // A whole turn at 10 kHz: by the formula nothing would be lost.
        for lag in [100.0, -60.0] {
            let said = mono_loss(&of(lag));
            assert!(said.contains("beyond a half turn at 10 kHz"), "{said}");
            assert!(!said.contains("dB"), "{said}");
        }
        let inverted = mono_loss(&TwoChannels {
            inverted: true,
            ..of(10.0)
        });
        assert!(inverted.contains("mono cancels"), "{inverted}");
        assert!(!inverted.contains("dB"), "{inverted}");
        let open = mono_loss(&TwoChannels {
            ambiguous_by_us: Some(317.5),
            ..of(10.0)
        });
        assert!(open.contains("for the smallest time"), "{open}");
    }

    #[test]
    fn the_louder_channel_is_named_where_one_is() {
        let mut told = sample::channels();
        assert!(
            levels(&told).ends_with("left is louder"),
            "{}",
            levels(&told)
        );
        told.balance.0 = -0.8;
        assert!(levels(&told).ends_with("right is louder"));
        told.balance.0 = 0.01;
        assert!(!levels(&told).contains("louder"));
    }
}
