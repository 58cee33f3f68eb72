#!/usr/bin/python3
"""Reads a take and works out its figures anew, with numpy and scipy and nothing of the project.

Run: /usr/bin/python3 recompute.py TAKE.wav REFERENCE.wav REQUEST.json > ANSWER.json

TAKE is a recording of all outputs, REFERENCE the track file that was played (stereo). REQUEST says where the track
starts in the take (start_sample, may be a fraction), how many samples of the take one second of track lasts
(samples_per_s), the track's sections (kind, start_s, duration_s, tones with freq_hz), at which frequencies the response
is wanted (freq_hz), and between which channels a delay (pairs: first and second channel, side, freq_hz, and the filter
that the second has over the first, or null: kind lowpass or highpass, order, corner_hz; Butterworth, on the player's
clock).

Levels are fractions of full scale: peak for tones, for noise rms over the rms of a full-scale sine (AES17-2015).
"""
import json
import sys
import warnings

import numpy as np
from scipy import fft, interpolate, optimize, signal
from scipy.io import wavfile
from scipy.linalg import lstsq

BAND_HZ = (20.0, 20000.0)
# The interfaces' latency and the filters' ringing: the same waits as anyone would choose who reads the timetable.
SETTLE_S, LEAVE_S, SILENCE_SETTLE_S = 0.2, 0.1, 0.8

# A subwoofer's channel carries nothing at 6.3 kHz, so the fit there has no sharp minimum.
warnings.simplefilter("ignore", optimize.OptimizeWarning)


def read_wav(path):
    """Samples (frames x channels, 1 is full scale) and rate."""
    rate_hz, data = wavfile.read(path)
    data = data if data.ndim == 2 else data[:, None]
    if data.dtype.kind == "f":
        return data.astype(np.float64), rate_hz
    # scipy returns 24-bit words at the top of 32-bit ones.
    return data.astype(np.float64) / 2.0 ** (8 * data.dtype.itemsize - 1), rate_hz


def stretch(samples, request, section, settle_s, leave_s):
    at = lambda s: int(round(request["start_sample"] + s * request["samples_per_s"]))
    return samples[at(section["start_s"] + settle_s) : at(section["start_s"] + section["duration_s"] - leave_s)]


# --- response: deconvolution with the track file itself, resampled to the take's clock --------------------------------

def played_on_takes_clock(reference, rate_hz, request, section, count):
    """What the track file holds from the section's start on, at the take's own sample times."""
    oversampling = 8
    first = int(section["start_s"] * rate_hz) - 2000
    # A length with small factors only: else the transform in resample takes its time.
    piece = reference[first : first + fft.next_fast_len(int((section["duration_s"] + 0.2) * rate_hz))]
    fine = signal.resample(piece * signal.windows.tukey(len(piece), 0.01), oversampling * len(piece))
    spline = interpolate.CubicSpline(np.arange(len(fine)), fine)
    begin = int(np.floor(request["start_sample"] + section["start_s"] * request["samples_per_s"]))
    times_s = (begin + np.arange(count) - request["start_sample"]) / request["samples_per_s"]
    places = (times_s * rate_hz - first) * oversampling
    inside = (places >= 0) & (places <= len(fine) - 1)
    return begin, np.where(inside, spline(np.clip(places, 0, len(fine) - 1)), 0.0)


class Responses:
    """Responses of all channels to one side, at any frequency (Hz on the player's clock)."""

    def __init__(self, take, reference, rate_hz, request, kind, side):
        section = next(one for one in request["sections"] if one["kind"] == kind)
        rate = request["samples_per_s"]
        count = int((section["duration_s"] + 1.5) * rate)
        begin, played = played_on_takes_clock(reference[:, side], rate_hz, request, section, count)
        size = fft.next_fast_len(2 * count, real=True)
        spectrum = fft.rfft(played, size)
        # Regularised: outside the sweep's band nothing was played, and nothing may be divided by it.
        power = np.abs(spectrum) ** 2
        inverse = np.conj(spectrum) / (power + 1e-9 * power.max())
        # The harmonics of the sweep lie 0.35 s and more in front of the response; they are cut off.
        before, after, fade = int(0.2 * rate), int(0.9 * rate), int(0.1 * rate)
        window = np.concatenate(
            [signal.windows.hann(2 * before)[:before], np.ones(after), signal.windows.hann(2 * fade)[fade:]]
        )
        self.times_s = (np.arange(len(window)) - before) / rate
        self.impulses = []
        for channel in take.T:
            impulse = fft.irfft(fft.rfft(channel[begin : begin + count], size) * inverse, size)
            self.impulses.append(window * np.roll(impulse, before)[: len(window)])

    def at(self, freq_hz):
        """Channels x frequencies: the Fourier sum itself, so that no bin has to be met."""
        columns = [np.stack(self.impulses) @ np.exp(-2j * np.pi * hz * self.times_s) for hz in freq_hz]
        return np.stack(columns, axis=1)


# --- tones ------------------------------------------------------------------------------------------------------------

def tone(samples, rate, freq_hz):
    """Four-parameter sine fit (amplitude, frequency, phase, offset) and THD by least squares of all harmonics."""
    times_s = np.arange(len(samples)) / rate

    def sine(t, in_phase, quadrature, ppm, offset):
        turn = 2 * np.pi * freq_hz * (1 + 1e-6 * ppm) * t
        return in_phase * np.cos(turn) + quadrature * np.sin(turn) + offset

    turn = 2 * np.pi * freq_hz * times_s
    guess = [2 * np.mean(samples * np.cos(turn)), 2 * np.mean(samples * np.sin(turn)), 0.0, 0.0]
    fitted, _ = optimize.curve_fit(sine, times_s, samples, p0=guess, xtol=1e-10, ftol=1e-10)
    # Orders 2 to 20 up to 20 kHz, over the fundamental.
    orders = [n for n in range(1, 21) if n == 1 or n * freq_hz <= BAND_HZ[1]]
    columns = [np.ones_like(times_s)]
    for order in orders:
        columns += [np.cos(order * turn), np.sin(order * turn)]
    solution = lstsq(np.stack(columns, axis=1), samples)[0]
    peaks = np.hypot(solution[1::2], solution[2::2])
    return {
        "freq_hz": freq_hz,
        "peak_fs": float(np.hypot(fitted[0], fitted[1])),
        "off_ppm": float(fitted[2]),
        "harmonics_fs": [float(peak) for peak in peaks[1:]],
        "thd_ratio": float(np.linalg.norm(peaks[1:]) / peaks[0]),
    }


# --- noise ------------------------------------------------------------------------------------------------------------

def a_weight(freq_hz):
    """IEC 61672-1:2013, Annex E: analytic A-weighting as a power gain, 1 at 1 kHz."""
    f2 = np.asarray(freq_hz, dtype=np.float64) ** 2
    lowest, second, third, highest = [hz**2 for hz in (20.598997, 107.65265, 737.86223, 12194.217)]
    curve = lambda s: highest * s**2 / ((s + lowest) * np.sqrt((s + second) * (s + third)) * (s + highest))
    return (curve(f2) / curve(1000.0**2)) ** 2


def noise(samples, rate, freq_excluded_hz=None):
    """Unweighted and A-weighted, 20 Hz to 20 kHz; a steady tone is fitted and taken away first."""
    samples = samples - np.mean(samples)
    if freq_excluded_hz is not None:
        turn = 2 * np.pi * freq_excluded_hz * np.arange(len(samples)) / rate
        # The amplitude may drift a little over the stretch, so it may bend.
        bend = np.linspace(-1, 1, len(samples))
        columns = [shape * bend**power for power in range(3) for shape in (np.cos(turn), np.sin(turn))]
        matrix = np.stack(columns, axis=1)
        samples = samples - matrix @ lstsq(matrix, samples)[0]
    freq_hz, density = signal.welch(samples, rate, window="blackman", nperseg=1 << 15, detrend="constant")
    inside = (freq_hz >= BAND_HZ[0]) & (freq_hz <= BAND_HZ[1])
    step_hz = freq_hz[1]
    in_sines = lambda power: float(np.sqrt(2 * step_hz * np.sum(power[inside])))
    return {"unweighted_fs": in_sines(density), "a_weighted_fs": in_sines(density * a_weight(freq_hz))}


# --- delay ------------------------------------------------------------------------------------------------------------

def filter_response(shape, freq_hz, rate_hz):
    if shape is None:
        return np.ones(len(freq_hz))
    sections = signal.butter(shape["order"], shape["corner_hz"], shape["kind"], fs=rate_hz, output="sos")
    return signal.sosfreqz(sections, freq_hz, fs=rate_hz)[1]


def delay_between(first, second, freq_hz):
    """By how much the second response is later (s), and the phase that is left: a weighted line through the phase."""
    cross = second * np.conj(first)
    phase = np.unwrap(np.angle(cross))
    slope, offset = np.polyfit(freq_hz, phase, 1, w=np.abs(cross))
    return {"delay_s": float(-slope / (2 * np.pi)), "phase_rad": float(np.angle(np.exp(1j * offset)))}


def main(take_path, reference_path, request_path):
    take, rate_hz = read_wav(take_path)
    reference, reference_rate_hz = read_wav(reference_path)
    with open(request_path, encoding="utf8") as file:
        request = json.load(file)
    assert rate_hz == request["sample_rate_hz"]
    rate = request["samples_per_s"]
    sections = request["sections"]
    of = lambda kind: [one for one in sections if one["kind"] == kind]
    sides = {
        "left": Responses(take, reference, reference_rate_hz, request, "sweep_left", 0),
        "right": Responses(take, reference, reference_rate_hz, request, "sweep_right", 1),
    }
    left, right = [sides[side].at(request["freq_hz"]) for side in ("left", "right")]
    quiet = of("quiet_tone")[0]
    channels = []
    for k, samples in enumerate(take.T):
        silence = stretch(samples, request, of("silence")[0], SILENCE_SETTLE_S, LEAVE_S)
        channels.append(
            {
                "left": [[float(h.real), float(h.imag)] for h in left[k]],
                "right": [[float(h.real), float(h.imag)] for h in right[k]],
                "tones": [
                    tone(stretch(samples, request, one, SETTLE_S, LEAVE_S), rate, one["tones"][0]["freq_hz"])
                    for one in of("tone")
                ],
                "idle": noise(silence, rate),
                "present": noise(
                    stretch(samples, request, quiet, SETTLE_S, LEAVE_S), rate, quiet["tones"][0]["freq_hz"]
                ),
            }
        )
    delays = []
    for pair in request["pairs"]:
        freq_hz = np.asarray(pair["freq_hz"], dtype=np.float64)
        heard = sides[pair["side"]].at(freq_hz)
        own = filter_response(pair["filter"], freq_hz, reference_rate_hz)
        delays.append(delay_between(heard[pair["first"]], heard[pair["second"]] / own, freq_hz))
    json.dump({"channels": channels, "delays": delays}, sys.stdout)


if __name__ == "__main__":
    main(*sys.argv[1:4])
