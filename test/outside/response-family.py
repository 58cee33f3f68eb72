#!/usr/bin/python3
"""Works out what is read from responses anew, with numpy and scipy and nothing of the project.

Run: /usr/bin/python3 response-family.py REQUEST.json > ANSWER.json

Filters are scipy's own designs (Butterworth, 48 kHz); responses come from freqz on a dense axis, 4000 points a band, group
delay from scipy.signal.group_delay, and the best setting of a sum from a search by scipy.optimize.
"""
import json
import sys

import numpy as np
from scipy import integrate, optimize, signal

RATE_HZ = 48000


def design(spec):
    """Second-order sections of a list of (kind, order, corner_hz)."""
    return np.vstack([signal.butter(order, hz, kind, fs=RATE_HZ, output="sos") for kind, order, hz in spec])


def response(spec, freq_hz):
    return signal.sosfreqz(design(spec), worN=np.asarray(freq_hz), fs=RATE_HZ)[1]


def power_mean(spec, low_hz, high_hz, per="octave", points=4000):
    log_hz = np.linspace(np.log(low_hz), np.log(high_hz), points + 1)
    power = np.abs(response(spec, np.exp(log_hz))) ** 2
    if per == "octave":
        return integrate.simpson(power, x=log_hz) / (log_hz[-1] - log_hz[0])
    return integrate.simpson(power * np.exp(log_hz), x=log_hz) / (high_hz - low_hz)


def bands(fraction, low_hz, high_hz):
    """Exact centres of IEC 61260-1 by counting up from far below, as one reads its formulas."""
    ratio = 10 ** 0.3
    x = np.arange(-10 * fraction, 10 * fraction)
    power = x / fraction if fraction % 2 else (2 * x + 1) / (2 * fraction)
    centres = 1000 * ratio ** power
    return [c for c in centres if low_hz <= c <= high_hz]


def smoothing(spec, fraction, low_hz, high_hz):
    half = 10 ** (0.3 / (2 * fraction))
    centres = bands(fraction, low_hz, high_hz)
    return {"freq_hz": centres, "power": [power_mean(spec, c / half, c * half, points=200) for c in centres]}


def best_sum(request):
    """Delay (s), gain (dB) and sign for the second of two parts that make the level's spread over the given points least:
    anywhere within 3 ms, and nearest to a setting that was found elsewhere (rounded, so that it gives nothing away)."""
    freq_hz = np.asarray(request["freq_hz"])
    first, second = (response(spec, freq_hz) for spec in (request["first"], request["second"]))
    second = second * request["second_gain"] * np.exp(-2j * np.pi * freq_hz * request["late_s"])
    gain_db = -20 * np.log10(abs(request["second_gain"]))

    def spread_db(x, sign):
        turned = sign * 10 ** (x[1] / 20) * np.exp(-2j * np.pi * freq_hz * x[0] * 1e-3)
        return np.std(20 * np.log10(np.abs(first + turned * second)))

    def least(delay_ms, sign):
        tight = {"xatol": 1e-10, "fatol": 1e-15, "maxiter": 4000, "maxfev": 8000}
        simplex = [[delay_ms, gain_db], [delay_ms + 0.01, gain_db], [delay_ms, gain_db + 0.2]]
        options = {**tight, "initial_simplex": simplex}
        return optimize.minimize(spread_db, simplex[0], args=(sign,), method="Nelder-Mead", options=options)

    everywhere = [(ms, sign) for sign in (1, -1) for ms in np.arange(-3, 3, 0.01)]
    everywhere.sort(key=lambda one: spread_db([one[0], gain_db], one[1]))
    near = least(round(request["found_s"] * 1e3, 2), request["found_sign"])
    return {
        "delay_s": near.x[0] * 1e-3,
        "gain_db": near.x[1],
        "rms_db": near.fun,
        "least_rms_db": min(least(*one).fun for one in everywhere[:12]),
    }


def group_delay_s(spec, freq_hz):
    # One polynomial of a fourth-order low-pass at 48 kHz is good enough in double precision.
    b, a = signal.sos2tf(design(spec))
    return list(signal.group_delay((b, a), w=np.asarray(freq_hz), fs=RATE_HZ)[1] / RATE_HZ)


def main():
    with open(sys.argv[1], encoding="utf8") as file:
        request = json.load(file)
    spec = request["filter"]
    json.dump(
        {
            "smoothing": {str(b): smoothing(spec, b, 20, 14000) for b in request["fractions"]},
            "pink": np.sqrt(power_mean(spec, 20, 20000, "octave", 40000)),
            "white": np.sqrt(power_mean(spec, 20, 20000, "hertz", 40000)),
            "group_delay_s": group_delay_s(request["delayed"], request["delay_hz"]),
            "crosstalk_db": [
                10 * np.log10(power_mean(request["leak"], lo, hi) / power_mean(spec, lo, hi)) + request["leak_db"]
                for lo, hi in request["leak_bands"]
            ],
            "sums": [best_sum(one) for one in request["sums"]],
            "shape_db": [
                10 * np.log10(power_mean(request["leak"], lo, hi)) for lo, hi in request["leak_bands"]
            ],
        },
        sys.stdout,
    )


main()
