"""What a cell gives at a rate and a temperature, as PyBaMM works it out.

    pip install 'pybamm==26.10.1.1'
    python rate_and_cold.py > rate_and_cold.csv

PyBaMM (BSD-3-Clause), single-particle model with electrolyte, parameters of O'Regan et al. 2022 (LG M50, NMC
21700), isothermal, from full to 2.5 V.
"""

import pybamm

print("c_rate,celsius,amp_hours,watt_hours")
for c_rate in (0.05, 0.1, 0.2, 0.5, 1.0):
    for celsius in (25, 10, 0):
        parameters = pybamm.ParameterValues("ORegan2022")
        kelvin = 273.15 + celsius
        parameters.update({"Ambient temperature [K]": kelvin, "Initial temperature [K]": kelvin})
        step = pybamm.Experiment([f"Discharge at {c_rate}C until 2.5 V"])
        cell = pybamm.Simulation(
            pybamm.lithium_ion.SPMe(), parameter_values=parameters, experiment=step
        )
        solution = cell.solve(initial_soc=1.0)
        charge = solution["Discharge capacity [A.h]"].entries[-1]
        volts, hours = solution["Voltage [V]"].entries, solution["Time [h]"].entries
        amps = solution["Current [A]"].entries
        energy = sum(
            (volts[k] * amps[k] + volts[k - 1] * amps[k - 1]) / 2 * (hours[k] - hours[k - 1])
            for k in range(1, len(hours))
        )
        print(f"{c_rate},{celsius},{charge:.3f},{energy:.2f}", flush=True)
