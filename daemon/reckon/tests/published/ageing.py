"""Share of capacity left after storage, as BLAST-Lite's calendar models give it.

    pip install 'blast-lite==1.1.1' 'numpy<2'
    python ageing.py > ageing.csv

BLAST-Lite (NREL, BSD-3-Clause) holds degradation models whose parameters come from published
ageing studies. Each cell rests at one charge and one temperature.
"""

import numpy as np
from blast import models

CELLS = [
    ("NMC111 18650 2 Ah", models.Nmc111_Gr_Sanyo2Ah_Battery),
    ("NCA 18650 3 Ah", models.Nca_Gr_Panasonic3Ah_Battery),
    ("LFP 26650 3 Ah", models.Lfp_Gr_SonyMurata3Ah_Battery),
]
YEARS = [0.5, 1, 2, 3, 4]

print("cell,celsius,charge," + ",".join(f"years_{years}" for years in YEARS))
for name, model in CELLS:
    for celsius in (10, 25, 32.5, 40, 50):
        for charge in (0.5, 1.0):
            seconds = np.arange(0, max(YEARS) * 365 + 1, 1) * 86400.0
            still = np.ones_like(seconds)
            cell = model()
            rest = {"Time_s": seconds, "SOC": charge * still, "Temperature_C": celsius * still}
            cell.simulate_battery_life(rest)
            time, left = cell.stressors["t_days"], cell.outputs["q"]
            at = [np.interp(years * 365, time, left) for years in YEARS]
            print(f"{name},{celsius},{charge}," + ",".join(f"{it:.4f}" for it in at))
