#!/usr/bin/python3
"""Works out distortion anew, with numpy and scipy and nothing of the project.

Run: /usr/bin/python3 distortion.py SAMPLES.f32 REQUEST.json > ANSWER.json

SAMPLES is one channel of little-endian float32. REQUEST: samples_per_s; tone, modulation, difference: [first sample, one
past the last]; sweep: first sample (may be a fraction), duration_s, rate_s, freq_hz_start, peak_fs, freq_hz (fundamentals).
"""
import json
import sys

import numpy as np
from scipy import fft, signal
from scipy.linalg import lstsq


def peaks(samples, rate, freq_hz):
    """Peaks of lines of known frequency: least squares of all of them together, with an offset."""
    times_s = np.arange(len(samples)) / rate
    columns = [np.ones_like(times_s)]
    for hz in freq_hz:
        columns += [np.cos(2 * np.pi * hz * times_s), np.sin(2 * np.pi * hz * times_s)]
    solution = lstsq(np.stack(columns, axis=1), samples)[0]
    return np.hypot(solution[1::2], solution[2::2])


def tone(samples, rate, freq_hz):
    """THD over the fundamental, and THD+N over the total from the residual of the fit, 20 Hz to 20 kHz."""
    found = peaks(samples, rate, [n * freq_hz for n in range(1, 21)])
    # THD+N another way: fit the fundamental alone and filter what is left to the band (high order: its edges matter little).
    times_s = np.arange(len(samples)) / rate
    turn = 2 * np.pi * freq_hz * times_s
    columns = np.stack([np.ones_like(turn), np.cos(turn), np.sin(turn)], axis=1)
    rest = samples - columns @ lstsq(columns, samples)[0]
    spectrum = np.abs(fft.rfft(rest)) ** 2
    hz = fft.rfftfreq(len(rest), 1 / rate)
    mean_square = 2 * np.sum(spectrum[(hz >= 20) & (hz <= 20000)]) / len(rest) ** 2
    total = mean_square + 0.5 * found[0] ** 2
    return {
        "peak_fs": float(found[0]),
        "harmonics_fs": [float(value) for value in found[1:]],
        "thd_ratio": float(np.linalg.norm(found[1:]) / found[0]),
        "thd_n_ratio": float(np.sqrt(mean_square / total)),
    }


def sweep(samples, request):
    """Harmonics over the fundamental by the analytic inverse of the sweep (Novak, Lotton, Simon 2015): no spectrum of it."""
    rate, task = request["samples_per_s"], request["sweep"]
    first = int(np.floor(task["first"]))
    count = int((task["duration_s"] + 1.4) * rate)
    size = fft.next_fast_len(4 * count, real=True)
    taken = fft.rfft(samples[first : first + count], size)
    hz = fft.rfftfreq(size, 1 / rate)
    length, start_hz = task["rate_s"], task["freq_hz_start"]
    inside = (hz > 0.5 * start_hz) & (hz < 23000)
    inverse = np.zeros(len(hz), dtype=complex)
    phase = -2 * np.pi * hz[inside] * length * (1 - np.log(hz[inside] / start_hz)) + np.pi / 4
    inverse[inside] = 2 * np.sqrt(hz[inside] / length) * np.exp(1j * phase)
    response = fft.irfft(taken * inverse, size) / (task["peak_fs"] * rate)
    at = lambda order: int(np.round((task["first"] - first) + task["delay_s"] * rate - length * np.log(order) * rate))

    def order_response(order):
        before = int(0.3 * length * np.log((order + 1) / order) * rate)
        after = int(0.6 * length * np.log(order / (order - 1)) * rate) if order > 1 else int(0.5 * rate)
        window = np.concatenate(
            [signal.windows.hann(2 * (before // 2))[: before // 2], np.ones(before - before // 2 + after // 2)]
        )
        window = np.concatenate([window, signal.windows.hann(2 * (after - after // 2))[after - after // 2 :]])
        index = (at(order) - before + np.arange(len(window))) % size
        cut = window * response[index]
        times_s = np.arange(len(window)) / rate
        return lambda freq: np.abs(np.exp(-2j * np.pi * np.outer(freq, times_s)) @ cut)

    linear = order_response(1)
    freq_hz = np.asarray(task["freq_hz"])
    answer = {}
    for order in (2, 3):
        wanted = order_response(order)
        # A sixth of an octave around each, as power.
        steps = 2.0 ** np.linspace(-1 / 12, 1 / 12, 9)
        mean = lambda of, f: np.sqrt(np.mean([of(s * f) ** 2 for s in steps], axis=0))
        answer[str(order)] = [float(v) for v in mean(wanted, order * freq_hz) / mean(linear, freq_hz)]
    return answer


def main(samples_path, request_path):
    samples = np.fromfile(samples_path, dtype="<f4").astype(np.float64)
    with open(request_path, encoding="utf8") as file:
        request = json.load(file)
    rate = request["samples_per_s"]
    piece = lambda name: samples[request[name][0] : request[name][1]]
    # All products near a line belong to the fit, or they would disturb it.
    orders = range(-4, 5)
    low_hz = [60 * n for n in range(1, 9)]
    modulation = peaks(piece("modulation"), rate, low_hz + [7000 + 60 * n for n in orders] + [14000 + 60 * n for n in orders])
    side = lambda n: modulation[len(low_hz) + 4 + n]
    difference = peaks(piece("difference"), rate, [1000, 18000, 19000, 20000, 21000, 8000, 9000, 10000, 6000, 11000, 12000])
    tones = difference[2] + difference[3]
    json.dump(
        {
            "tone": tone(piece("tone"), rate, 997.0),
            "modulation": {
                "second": float((side(1) + side(-1)) / side(0)),
                "third": float((side(2) + side(-2)) / side(0)),
                "rms": float(np.sqrt(side(1) ** 2 + side(-1) ** 2 + side(2) ** 2 + side(-2) ** 2) / side(0)),
            },
            "difference": {
                "second": float(difference[0] / tones),
                "third": float((difference[1] + difference[4]) / tones),
                "rms": float(np.sqrt(difference[0] ** 2 + difference[1] ** 2 + difference[4] ** 2) / tones),
            },
            "sweep": sweep(samples, request),
        },
        sys.stdout,
    )


if __name__ == "__main__":
    main(*sys.argv[1:3])
