#!/usr/bin/python3
"""Reads a recording of noise and works out its levels with numpy and scipy, and nothing of the project.

Run: /usr/bin/python3 noise.py RECORDING.wav FROM TO [TONE_HZ] > ANSWER.json

FROM and TO are samples, TONE_HZ a tone that does not count: it is fitted (scipy's least squares) and taken off. Levels are
rms over the rms of a full-scale sine, 20 Hz to 20 kHz, from one transform of the whole stretch without a window:
unweighted, A and C (poles of IEC 61672-1:2013 by scipy.signal.freqs_zpk), ITU-R BS.468-4 (its Table 1, interpolated over
the logarithm of frequency) and the same lowered by 5.63 dB.
"""
import json
import sys

import numpy as np
from scipy import interpolate, signal
from scipy.io import wavfile
from scipy.linalg import lstsq

BS_468 = np.array([
    [1.0, -60.0], [31.5, -29.9], [63, -23.9], [100, -19.8], [200, -13.8], [400, -7.8], [800, -1.9], [1000, 0.0],
    [2000, 5.6], [3150, 9.0], [4000, 10.5], [5000, 11.7], [6300, 12.2], [7100, 12.0], [8000, 11.4], [9000, 10.1],
    [10000, 8.1], [12500, 0.0], [14000, -5.3], [16000, -11.7], [20000, -22.2], [31500, -42.7]])
F1, F2, F3, F4 = 20.598997057618316, 107.65264864304629, 737.8622307362901, 12194.217147998012


def weight(zeros, poles_hz, freq_hz):
    """Power gain with 0 dB at 1 kHz."""
    poles = [-2 * np.pi * p for p in poles_hz]
    _, response = signal.freqs_zpk([0] * zeros, poles, 1.0, 2 * np.pi * np.append(freq_hz, 1000.0))
    return np.abs(response[:-1] / response[-1]) ** 2


def main(path, first, last, tone_hz=None):
    rate_hz, data = wavfile.read(path)
    scale = 1.0 if data.dtype.kind == "f" else 2.0 ** (8 * data.dtype.itemsize - 1)
    samples = (data if data.ndim == 1 else data[:, 0])[first:last].astype(np.float64) / scale
    if tone_hz is not None:
        turn = 2 * np.pi * tone_hz / rate_hz * np.arange(len(samples))
        basis = np.stack([np.cos(turn), np.sin(turn), np.ones(len(samples))], axis=1)
        samples = samples - basis @ lstsq(basis, samples)[0]
    samples = samples - samples.mean()
    power = 2 * 2 * np.abs(np.fft.rfft(samples)) ** 2 / len(samples) ** 2
    freq_hz = np.fft.rfftfreq(len(samples), 1 / rate_hz)
    inside = (freq_hz >= 20) & (freq_hz <= 20000)
    power, freq_hz = power[inside], freq_hz[inside]
    table = 10 ** (interpolate.interp1d(np.log(BS_468[:, 0]), BS_468[:, 1])(np.log(freq_hz)) / 10)
    level = lambda gain: float(np.sqrt(np.sum(gain * power)))
    print(json.dumps({
        "unweighted": level(1.0),
        "a": level(weight(4, [F1, F1, F2, F3, F4, F4], freq_hz)),
        "c": level(weight(2, [F1, F1, F4, F4], freq_hz)),
        "bs468": level(table),
        "ccir_rms": level(table * 10 ** -0.563),
    }))


main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), *map(float, sys.argv[4:5]))
