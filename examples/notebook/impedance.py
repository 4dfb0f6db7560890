"""Impedance of a multiphonic fingering and of the plain one beside it: `python examples/notebook/impedance.py OUT.png`.

Needs matplotlib. The cells (# %%) run in a notebook too.
"""

# %%
import sys

import matplotlib
import numpy as np
import ventwise

if __name__ == "__main__":
    matplotlib.use("Agg")
import matplotlib.pyplot as plt

FINGERINGS = ("T 2 3 | Eb", "T 1 2 3 | Eb")

# %%
flute = ventwise.load_flute("open-hole-b")
freq_hz = np.linspace(200.0, 2000.0, 3601)
figure, axes = plt.subplots(figsize=(8.0, 4.0), layout="constrained")
for fingering, dash in zip(FINGERINGS, ("-", "--"), strict=True):
    level_db = 20.0 * np.log10(np.abs(flute.impedance(fingering, freq_hz)))
    axes.plot(freq_hz, level_db, dash, color="black", linewidth=1.0, label=fingering)

# %% What sounds lies near the minima, pulled down by the lip.
for sound in ventwise.sounds(FINGERINGS[0], flute):
    if sound.strength >= 0.5 and sound.hz <= freq_hz[-1]:
        axes.axvline(sound.hz, color="grey", linewidth=0.6)
        axes.annotate(sound.pitch.name, (sound.hz, axes.get_ylim()[1]), ha="center", va="bottom")
axes.set_xlabel("frequency [Hz]")
axes.set_ylabel("|Z| at the embouchure [dB re 1 Pa s/m³]")
axes.legend()

# %%
if __name__ == "__main__":
    figure.savefig(sys.argv[1] if len(sys.argv) > 1 else "impedance.png", dpi=150)
