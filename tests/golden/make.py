#!/usr/bin/env python3
"""What general-purpose numerical libraries make of a few invented tones.

    make.py              writes expected.json beside this file
    make.py --check      makes everything anew and compares with expected.json

Nothing here is taken from the program under test. The tones are given by
formula, so that a test can make the same samples by itself; only the results
are stored. Speed comes from the analytic signal of the whole record
(scipy.signal.hilbert), weighting from the table of the standard by way of the
Fourier transform, bands from scipy.signal.butter, two-sigma from
numpy.percentile, lines from numpy.linalg.lstsq and, where their rates are
sought too, from scipy.optimize.curve_fit, the Allan deviation from allantools.

A fresh run must agree to 1e-9 of the largest value of each list: another
processor or another build of the transform rounds the last digits otherwise,
so bit for bit would be asking for too much. A mistake is larger than that.
"""

import json
import pathlib
import re
import sys

import allantools
import numpy as np
import scipy.fft
import scipy.interpolate
import scipy.optimize
import scipy.signal

STORED = pathlib.Path(__file__).with_name("expected.json")
AGREE = 1e-9

# Invented machines: tone at the start in Hz, lines of wow and flutter as
# (rate in Hz, peak in percent, phase in turns), drift in percent a second,
# hiss as its rms against full scale.
RECORDINGS = [
    {
        "name": "3150 Hz, one percent slow",
        "rate_hz": 48000,
        "seconds": 20,
        "nominal_hz": 3150.0,
        "tone_hz": 3118.5,
        "turns": 0.1,
        "amplitude": 0.4,
        "lines": [
            [0.63, 0.08, 0.0],
            [4.7, 0.05, 0.3],
            [10.0, 0.03, 0.55],
            [63.0, 0.04, 0.8],
        ],
        "drift_percent_per_s": 0.0008,
        "hiss": 0.0006,
    },
    {
        "name": "1000 Hz, fast, at the other rate",
        "rate_hz": 44100,
        "seconds": 20,
        "nominal_hz": 1000.0,
        "tone_hz": 1013.0,
        "turns": 0.7,
        "amplitude": 0.25,
        "lines": [
            [0.55, 0.12, 0.2],
            [4.0, 0.06, 0.9],
            [25.0, 0.03, 0.4],
            [90.0, 0.02, 0.1],
        ],
        "drift_percent_per_s": -0.0005,
        "hiss": 0.0001,
    },
]

# The weighting curve: Hz and dB against 4 Hz. Follows IEC 60386:1972 (DIN
# 45507, AES6-2008); the values are from memory of the standard.
WEIGHTING_HZ = [0.1, 0.2, 0.315, 0.4, 0.63, 0.8, 1.0, 1.6, 2.0, 4.0, 6.3, 10.0, 20.0, 40.0, 63.0, 100.0, 200.0]
WEIGHTING_DB = [-48.0, -30.6, -19.7, -15.0, -8.4, -6.0, -4.2, -1.8, -0.9, 0.0, -0.9, -2.1, -5.9, -10.4, -14.2, -17.3, -23.0]

# So much is made on either side of each record, so that nothing here has an
# edge where it is looked at.
MARGIN_S = 1
# Rate at which speed is worked on, and at which series are stored.
TRACK_HZ = 4000
STORED_HZ = 20
# Filters begin half a second in and are believed four seconds later.
FILTERS_FROM_S = 0.5
FIGURES_FROM_S = 4.5
# Nothing of flutter lies higher; what does is noise.
TOP_HZ = 200.0


def hiss(n):
    """Bell-shaped noise of standard deviation 1 from whole numbers alone.

    Four even 16-bit numbers out of a mixed counter (the finaliser of the
    SplitMix64 generator by Steele, Lea and Flood, 2014).
    """
    z = (n.astype(np.uint64) + np.uint64(1 << 32)) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    z ^= z >> np.uint64(31)
    total = sum((z >> np.uint64(16 * k)) & np.uint64(0xFFFF) for k in range(4))
    return (total.astype(float) - 131070.0) * np.sqrt(3.0) / 65536.0


def samples(recording, n):
    """16-bit samples at the places n, full scale 1."""
    t = n / recording["rate_hz"]
    along = t + recording["drift_percent_per_s"] / 100 * t * t / 2
    for rate, peak, turns in recording["lines"]:
        start = np.cos(2 * np.pi * turns)
        along += peak / 100 * (start - np.cos(2 * np.pi * (rate * t + turns))) / (2 * np.pi * rate)
    turns = recording["turns"] + recording["tone_hz"] * along
    tone = recording["amplitude"] * np.sin(2 * np.pi * (turns - np.floor(turns)))
    return np.round(32768 * (tone + recording["hiss"] * hiss(n))) / 32768


def low_pass(values, rate_hz, edge_hz):
    """Linear phase, no delay: flat to the edge, nothing from 1.45 of it on."""
    width = 0.45 * edge_hz
    length, beta = scipy.signal.kaiserord(90.0, width / (rate_hz / 2))
    taps = scipy.signal.firwin(length | 1, edge_hz + width / 2, window=("kaiser", beta), fs=rate_hz)
    return scipy.signal.fftconvolve(values, taps, mode="same")


def phase(recording):
    """Turns of the tone at TRACK_HZ from -MARGIN_S on, by the analytic signal."""
    rate = recording["rate_hz"]
    n = np.arange(-MARGIN_S * rate, (recording["seconds"] + MARGIN_S) * rate)
    heard = samples(recording, n)
    # What is far from the tone is no part of it.
    middle = recording["tone_hz"]
    band = scipy.signal.firwin(4001, [middle - 450, middle + 450], window=("kaiser", 9.0), pass_zero=False, fs=rate)
    heard = scipy.signal.fftconvolve(heard, band, mode="same")
    turns = np.unwrap(np.angle(scipy.signal.hilbert(heard))) / (2 * np.pi)
    # The carrier taken out, a smooth curve is left, which may be resampled.
    carrier = recording["tone_hz"] * n / rate
    smooth = scipy.interpolate.CubicSpline(n / rate, turns - carrier)
    t = np.arange(-MARGIN_S * TRACK_HZ, (recording["seconds"] + MARGIN_S) * TRACK_HZ) / TRACK_HZ
    t = t[t <= n[-1] / rate]
    return t, smooth(t) + recording["tone_hz"] * t


def speed(recording):
    """Percent of nominal speed at TRACK_HZ, the slope of the phase; and the
    phase itself."""
    t, turns = phase(recording)
    # The carrier is taken out so that no digit is lost on it.
    carrier_hz = recording["tone_hz"]
    off = low_pass(turns - carrier_hz * t, TRACK_HZ, TOP_HZ)
    slope = scipy.interpolate.CubicSpline(t, off).derivative()(t)
    percent = ((carrier_hz + slope) / recording["nominal_hz"] - 1) * 100
    return t, percent, turns


def weighting_db(hz):
    """The table, between its points by a smooth curve of dB over log Hz, and
    beyond its ends by slopes of 18 dB an octave below and 6 above."""
    log_hz = np.log2(np.array(WEIGHTING_HZ))
    between = scipy.interpolate.PchipInterpolator(log_hz, WEIGHTING_DB)
    at = np.log2(np.maximum(hz, 1e-4))
    db = between(np.clip(at, log_hz[0], log_hz[-1]))
    db += np.where(at < log_hz[0], 18.06 * (at - log_hz[0]), 0.0)
    db -= np.where(at > log_hz[-1], 6.02 * (at - log_hz[-1]), 0.0)
    return db


def weight(values, rate_hz):
    """Weighted values: minimum phase by the cepstrum of the magnitude
    (Oppenheim and Schafer, Discrete-Time Signal Processing, chapter 12)."""
    length = 1 << 21
    hz = scipy.fft.fftfreq(length, 1 / rate_hz)
    log_gain = weighting_db(np.abs(hz)) * np.log(10) / 20
    cepstrum = scipy.fft.ifft(log_gain).real
    cepstrum[1 : length // 2] *= 2
    cepstrum[length // 2 + 1 :] = 0
    response = np.exp(scipy.fft.fft(cepstrum))
    padded = np.zeros(length)
    padded[: len(values)] = values
    return scipy.fft.ifft(scipy.fft.fft(padded) * response).real[: len(values)]


def band(values, edges_hz, order):
    low, high = edges_hz
    sections = scipy.signal.butter(order, low, "highpass", fs=TRACK_HZ, output="sos")
    if high is not None:
        upper = scipy.signal.butter(order, high, "lowpass", fs=TRACK_HZ, output="sos")
        sections = np.vstack([sections, upper])
    return scipy.signal.sosfilt(sections, values)


def rms(values):
    return float(np.sqrt(np.mean(values**2)))


def lines(t, percent, rates_hz):
    """Peaks by least squares, together with a mean and a trend."""
    columns = [np.ones_like(t), t - t.mean()]
    for hz in rates_hz:
        columns += [np.cos(2 * np.pi * hz * t), np.sin(2 * np.pi * hz * t)]
    found = np.linalg.lstsq(np.stack(columns, axis=1), percent, rcond=None)[0]
    peaks = [float(np.hypot(*found[2 + 2 * k : 4 + 2 * k])) for k in range(len(rates_hz))]
    return peaks, float(found[1] * 60)


def results(recording):
    seconds = recording["seconds"]
    t, percent, turns = speed(recording)
    places = np.arange(0.5, seconds - 0.5 + 1e-9, 1 / STORED_HZ)
    index = np.round((places + MARGIN_S) * TRACK_HZ).astype(int)
    mean_speed = ((turns[index[1:]] - turns[index[:-1]]) * STORED_HZ / recording["nominal_hz"] - 1) * 100

    inside = (t >= FILTERS_FROM_S) & (t < seconds)
    own_t, own = t[inside], percent[inside]
    own = own - own[: TRACK_HZ // 2].mean()
    weighted = weight(own, TRACK_HZ)
    believed = own_t >= FIGURES_FROM_S
    stored = np.round((places - FILTERS_FROM_S) * TRACK_HZ).astype(int)
    whole = (t >= 0) & (t < seconds)
    peaks, drift = lines(t[whole], percent[whole], [line[0] for line in recording["lines"]])
    return {
        "recording": recording,
        "first_s": 0.5,
        "step_s": 1 / STORED_HZ,
        "speed_of_each_step_percent": mean_speed.tolist(),
        "weighted_from_s": float(places[places >= FIGURES_FROM_S][0]),
        "weighted_percent": weighted[stored[places >= FIGURES_FROM_S]].tolist(),
        "mean_percent": float(percent[whole].mean()),
        "drift_percent_per_min": drift,
        "line_peaks_percent": peaks,
        "weighted_rms_percent": rms(weighted[believed]),
        "weighted_two_sigma_percent": float(np.percentile(np.abs(weighted[believed]), 95)),
        "unweighted_rms_percent": rms(band(own, (0.1, None), 2)[believed]),
        "wow_rms_percent": rms(band(own, (0.5, 6.0), 4)[believed]),
        "flutter_rms_percent": rms(band(own, (6.0, 100.0), 4)[believed]),
    }


def fitted_lines():
    """Rates and peaks of the lines in an invented series of speeds, fitted
    together from rates near the true ones."""
    rate_hz, count = 500.0, 30000
    lines = [[0.63, 0.08, 0.1], [4.7, 0.05, 0.35], [8.9, 0.02, 0.6], [9.3, 0.03, 0.8], [33.0, 0.02, 0.2], [95.0, 0.01, 0.9]]
    noise = 0.02
    n = np.arange(count)
    t = n / rate_hz
    values = noise * hiss(n)
    for hz, peak, turns in lines:
        values = values + peak * np.sin(2 * np.pi * (hz * t + turns))

    def model(t, mean, slope, *each):
        total = mean + slope * (t - t.mean())
        for hz, a, b in zip(each[0::3], each[1::3], each[2::3]):
            total = total + a * np.cos(2 * np.pi * hz * t) + b * np.sin(2 * np.pi * hz * t)
        return total

    start = [0.0, 0.0]
    for hz, peak, turns in lines:
        start += [hz + 0.002, peak * np.sin(2 * np.pi * turns), peak * np.cos(2 * np.pi * turns)]
    found, _ = scipy.optimize.curve_fit(model, t, values, start, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    return {
        "rate_hz": rate_hz,
        "count": count,
        "lines": lines,
        "noise": noise,
        "hz": [float(hz) for hz in found[2::3]],
        "peaks": [float(np.hypot(a, b)) for a, b in zip(found[3::3], found[4::3])],
    }


def allan():
    """Overlapping Allan deviation of an invented series of means."""
    count, step_s = 600, 0.5
    n = np.arange(count)
    values = 0.05 * np.sin(2 * np.pi * 0.031 * n + 0.4) + 0.0001 * n + 0.02 * hiss(n)
    taus = [step_s * 2**k for k in range(8)]
    found_taus, deviations, _, terms = allantools.oadev(values, rate=1 / step_s, data_type="freq", taus=taus)
    return {
        "count": count,
        "step_s": step_s,
        "line_peak": 0.05,
        "line_turns_per_step": 0.031,
        "line_radians": 0.4,
        "slope_per_step": 0.0001,
        "noise": 0.02,
        "tau_s": [float(tau) for tau in found_taus],
        "deviation": [float(value) for value in deviations],
        "terms": [int(count) for count in terms],
    }


def rounded(value):
    """Eleven digits: more than the comparison asks for, and small on disk."""
    if isinstance(value, float):
        return float(f"{value:.11g}")
    if isinstance(value, list):
        return [rounded(item) for item in value]
    if isinstance(value, dict):
        return {key: rounded(item) for key, item in value.items()}
    return value


def differences(stored, fresh, where=""):
    """Where the two differ by more than is allowed."""
    if isinstance(fresh, dict) and isinstance(stored, dict) and fresh.keys() == stored.keys():
        return [d for key in fresh for d in differences(stored[key], fresh[key], f"{where}.{key}")]
    number = (int, float)
    if isinstance(fresh, number) and isinstance(stored, number):
        fresh, stored = [fresh], [stored]
    if isinstance(fresh, list) and isinstance(stored, list) and len(fresh) == len(stored):
        if not all(isinstance(value, number) for value in fresh + stored):
            pairs = enumerate(zip(stored, fresh))
            return [d for k, (a, b) in pairs for d in differences(a, b, f"{where}[{k}]")]
        largest = max(map(abs, fresh), default=0.0)
        worst = max((abs(a - b) for a, b in zip(stored, fresh)), default=0.0)
        return [f"{where}: off by {worst:.3g}, largest value {largest:.3g}"] if worst > AGREE * largest else []
    return [] if stored == fresh else [f"{where}: {stored!r} is stored, {fresh!r} was made"]


def main():
    fresh = rounded({"recordings": [results(r) for r in RECORDINGS], "fitted": fitted_lines(), "allan": allan()})
    if sys.argv[1:] == ["--check"]:
        wrong = differences(json.loads(STORED.read_text()), fresh)
        print("\n".join(wrong) if wrong else "golden data made anew agree with those stored")
        return 1 if wrong else 0
    # A list of numbers stands on one line.
    inner = re.compile(r"\[\s+([^][{}]*?)\s+\]")
    text = inner.sub(lambda found: "[" + " ".join(found[1].split()) + "]", json.dumps(fresh, indent=1))
    STORED.write_text(text + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
