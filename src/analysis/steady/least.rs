//! Weighted least squares with a handful of terms.

/// What was fitted.
#[derive(Clone, Debug)]
pub(super) struct Fit<const P: usize> {
    /// Coefficients of the terms.
    pub(super) coefficients: [f64; P],
    /// Inverse of the matrix of the normal equations.
    pub(super) inverse: [[f64; P]; P],
}

/// Fits the terms to the values, each with its weight; `None` where the terms cannot be told apart.
pub(super) fn fit<const P: usize>(
    rows: impl Iterator<Item = ([f64; P], f64, f64)>,
) -> Option<Fit<P>> {
    let mut matrix = [[0.0; P]; P];
    let mut right = [0.0; P];
    for (terms, value, weight) in rows {
        for i in 0..P {
            let weighted = weight * terms[i];
            right[i] += weighted * value;
            for j in 0..=i {
                matrix[i][j] += weighted * terms[j];
            }
        }
    }
    let factor = cholesky(&matrix)?;
    let mut inverse = [[0.0; P]; P];
    for (index, column) in inverse.iter_mut().enumerate() {
        let mut unit = [0.0; P];
        unit[index] = 1.0;
        *column = solve(&factor, unit);
    }
    Some(Fit {
        coefficients: solve(&factor, right),
        inverse,
    })
}

/// The lower factor of a matrix of which the lower half is given (Cholesky); `None` where it is
/// singular to working precision.
fn cholesky<const P: usize>(matrix: &[[f64; P]; P]) -> Option<[[f64; P]; P]> {
    const SINGULAR: f64 = 1e-12;
    let mut factor = [[0.0; P]; P];
    for i in 0..P {
        for j in 0..=i {
            let known: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
            let rest = matrix[i][j] - known;
            if i == j {
                if rest <= SINGULAR * matrix[i][i] || rest.is_nan() {
                    return None;
                }
                factor[i][i] = rest.sqrt();
            } else {
                factor[i][j] = rest / factor[j][j];
            }
        }
    }
    Some(factor)
}

fn solve<const P: usize>(factor: &[[f64; P]; P], mut right: [f64; P]) -> [f64; P] {
    for i in 0..P {
        let known: f64 = (0..i).map(|k| factor[i][k] * right[k]).sum();
        right[i] = (right[i] - known) / factor[i][i];
    }
    for i in (0..P).rev() {
        let known: f64 = (i + 1..P).map(|k| factor[k][i] * right[k]).sum();
        right[i] = (right[i] - known) / factor[i][i];
    }
    right
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_through_three_points_by_hand() {
        // y = 1, 3, 4 at x = 0, 1, 2: slope 3/2, intercept 7/6; var of the slope per unit variance 1/2.
        let rows = [(0.0, 1.0), (1.0, 3.0), (2.0, 4.0)];
        let found = fit(rows.into_iter().map(|(x, y)| ([1.0, x], y, 1.0))).unwrap();
        assert!((found.coefficients[0] - 7.0 / 6.0).abs() < 1e-14);
        assert!((found.coefficients[1] - 1.5).abs() < 1e-14);
        assert!((found.inverse[1][1] - 0.5).abs() < 1e-14);
    }

    #[test]
    fn terms_that_are_the_same_cannot_be_told_apart() {
        let rows = (0..9).map(|x| ([1.0, f64::from(x), 2.0 * f64::from(x)], 1.0, 1.0));
        assert!(fit(rows).is_none());
    }
}
