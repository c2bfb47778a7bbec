"""The program beside general-purpose libraries: error of the mean speed, and
time, on one recording. Run by versus.sh.

Each pipeline reads the same WAV file in blocks and gives the mean frequency of
its first channel; the program measures everything it can, of both channels.
The time is that of the core, the best of three runs, reading included.
"""

import json
import resource
import subprocess
import sys
import tempfile
import wave
from pathlib import Path

import aubio
import numpy as np
from scipy import fft

RATE = 48_000
NOMINAL = 3150.0
TRUE = 3118.5  # the mean over whole minutes, by construction
RUNS = 3


def write_recording(path, minutes):
    """An invented machine, 1 % slow: wow, flutter, hiss, dropouts."""
    random = np.random.default_rng(1)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE)
        for second in range(60 * minutes):
            t = second + np.arange(RATE) / RATE
            turns = TRUE * t
            for hz, percent in ((1.1, 0.1), (9.3, 0.05)):
                depth = TRUE * percent / 100 / (2 * np.pi * hz)
                turns = turns + depth * np.sin(2 * np.pi * hz * t)
            level = np.where((t + 4) % 7 < 0.02, 0.003, 0.35)
            tone = level * np.sin(2 * np.pi * (turns % 1.0))
            both = np.stack([tone, 0.9 * tone], axis=1)
            both += random.normal(0, 0.001, both.shape)
            file.writeframes(np.round(both * 32_768).astype("<i2").tobytes())


def blocks(path, frames):
    """The first channel, full scale 1."""
    with wave.open(str(path), "rb") as file:
        while data := file.readframes(frames):
            both = np.frombuffer(data, "<i2").reshape(-1, 2)
            yield both[:, 0].astype(np.float32) / 32_768


def ours(path, program):
    done = subprocess.run(
        [program, "read", "--json", str(path)], check=True, capture_output=True
    )
    return json.loads(done.stdout)["speed"]["measured_hz"]


def aubio_pitch(path, method, size, hop):
    pitch = aubio.pitch(method, size, hop, RATE)
    values = []
    for block in blocks(path, hop * 100):
        for start in range(0, len(block) - hop + 1, hop):
            values.append(pitch(block[start : start + hop])[0])
    values = np.array(values)
    # What is no pitch near the tone says nothing about its speed.
    values = values[np.abs(values / NOMINAL - 1) < 0.2]
    return float(np.mean(values, dtype=np.float64))


def analytic_signal(path, seconds=10):
    """Band-limited analytic signal of each block, mean step of its phase."""
    steps, count = 0.0, 0
    for block in blocks(path, seconds * RATE):
        spectrum = fft.rfft(block)
        hz = fft.rfftfreq(len(block), 1 / RATE)
        analytic = np.zeros(len(block), dtype=np.complex64)
        band = np.abs(hz - NOMINAL) < 600
        analytic[: len(hz)][band] = spectrum[band]
        phase = np.unwrap(np.angle(fft.ifft(analytic)))
        steps += float(phase[-1] - phase[0])
        count += len(phase) - 1
    return steps / count * RATE / (2 * np.pi)


def core_seconds():
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def main():
    program, minutes = sys.argv[1], int(sys.argv[2])
    pipelines = {
        "tapewright read, everything, both channels": lambda path: ours(path, program),
        "aubio fcomb, 2048 / 512": lambda path: aubio_pitch(path, "fcomb", 2048, 512),
        "aubio fcomb, 4096 / 2048": lambda path: aubio_pitch(path, "fcomb", 4096, 2048),
        "aubio yinfast, 2048 / 512": lambda path: aubio_pitch(path, "yinfast", 2048, 512),
        "aubio yinfast, 4096 / 2048": lambda path: aubio_pitch(path, "yinfast", 4096, 2048),
        "scipy analytic signal": analytic_signal,
    }
    print(f"{minutes} minutes of stereo, 48000 Hz, 16 bit; true mean {TRUE} Hz")
    print()
    print("| pipeline | error of the mean speed % | core s | times real time |")
    print("| --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "recording.wav"
        write_recording(path, minutes)
        for name, pipeline in pipelines.items():
            times = []
            for _ in range(RUNS):
                before = core_seconds()
                hz = pipeline(path)
                times.append(core_seconds() - before)
            took = min(times)
            error = 100 * (hz / TRUE - 1)
            print(f"| {name} | {error:+.5f} | {took:.2f} | {60 * minutes / took:.0f} |", flush=True)


main()
