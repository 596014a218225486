//! Checks of the sensor.
