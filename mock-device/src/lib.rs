//! A simulated oven, its temperature controller and its Modbus RTU wire.
