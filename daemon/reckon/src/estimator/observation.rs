//! What is seen of a bank in a stretch of time.

/// With a smaller draw the board is fed by something else, W: no board that can run this lives on so
/// little (the smallest takes about 0.4 W doing nothing; common practice, no source).
pub const FED_OTHERWISE_W: f64 = 0.15;

/// What was seen over the last `dt_s` seconds. Missing values are bridged, and counted as such.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Observation {
    /// Length of the step, seconds; nothing happens for zero, negative or broken numbers.
    pub dt_s: f64,
    /// Power out of the bank at the sensor, W.
    pub watts: Option<f64>,
    /// Voltage at the sensor, V.
    pub volts: Option<f64>,
    /// Current out of the bank, A.
    pub amps: Option<f64>,
    /// Share of the processor that was busy, 0 to 1.
    pub cpu_busy: Option<f64>,
    /// Processor temperature, °C.
    pub cpu_temp_c: Option<f64>,
}
