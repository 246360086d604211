//! Time-proportioned output: a contact is either closed or open, and the share of each cycle for
//! which it is closed is the demand.

/// Smallest time the contact is switched for, s: one half-wave of 50 Hz mains.
const SMALLEST_S: f64 = 0.01;

/// Where the contact is in its cycle.
#[derive(Clone, Debug, Default)]
pub(crate) struct Proportioning {
    /// Seconds since the cycle began; the cycle's length at its end.
    into_cycle: f64,
    /// Seconds for which the contact is closed in this cycle.
    on_for: f64,
    cycle: f64,
}

impl Proportioning {
    /// Begins a new cycle at the next scan, with the demand of that scan.
    pub(crate) fn restart(&mut self) {
        self.into_cycle = self.cycle;
    }

    /// The share of the next `dt` seconds for which the contact is closed. The demand (percent)
    /// counts at the start of a cycle; what comes later waits for the next one.
    pub(crate) fn scan(&mut self, demand: f64, cycle_s: f64, dt: f64) -> f64 {
        let (mut left, mut closed) = (dt, 0.0);
        while left > 0.0 {
            if self.into_cycle >= self.cycle - 1e-9 {
                self.begin(demand, cycle_s);
            }
            let stretch = left.min(self.cycle - self.into_cycle);
            closed += (self.on_for - self.into_cycle).clamp(0.0, stretch);
            self.into_cycle += stretch;
            left -= stretch;
        }
        closed / dt
    }

    fn begin(&mut self, demand: f64, cycle_s: f64) {
        self.cycle = cycle_s.max(SMALLEST_S);
        self.into_cycle = 0.0;
        let on_for = self.cycle * (demand / 100.0).clamp(0.0, 1.0);
        self.on_for = (on_for / SMALLEST_S).round() * SMALLEST_S;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DT: f64 = 0.5;

    #[test]
    fn the_contact_is_closed_for_the_demanded_share_of_each_cycle() {
        for demand in [0.0, 3.7, 41.3, 99.5, 100.0] {
            let mut contact = Proportioning::default();
            let closed: f64 = (0..40).map(|_| contact.scan(demand, 10.0, DT) * DT).sum();
            assert!((closed - 0.2 * demand).abs() < 0.011, "{demand}: {closed}");
        }
    }

    #[test]
    fn the_contact_really_switches() {
        let mut contact = Proportioning::default();
        let shares: Vec<f64> = (0..20).map(|_| contact.scan(50.0, 10.0, DT)).collect();
        assert!(shares[..10].iter().all(|&share| share > 0.999));
        assert!(shares[10..].iter().all(|&share| share < 0.001));
    }

    #[test]
    fn a_new_demand_waits_for_the_next_cycle_unless_it_is_restarted() {
        let mut contact = Proportioning::default();
        contact.scan(0.0, 10.0, DT);
        assert!(contact.scan(100.0, 10.0, DT).abs() < 1e-12);
        contact.restart();
        assert!((contact.scan(100.0, 10.0, DT) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_cycle_shorter_than_a_scan_is_followed_within_the_scan() {
        let mut contact = Proportioning::default();
        assert!((contact.scan(30.0, 0.1, DT) - 0.3).abs() < 1e-9);
    }
}
