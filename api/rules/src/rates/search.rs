//! The highest point of a smooth function of two numbers, for the two priors that are fitted.

/// One corner of the triangle that walks: where it is, and how high.
#[derive(Clone, Copy)]
struct Corner {
    at: [f64; 2],
    height: f64,
}

/// Steps after which a search ends in any case; the fits here take about a hundred.
const STEPS_MAX: u32 = 500;

/// How small the triangle must be: in logarithms, a thousand-millionth part.
const SIDE_MIN: f64 = 1e-9;

/// Walks uphill from a start with a triangle until it is tiny. What is not a number counts as lowest.
///
/// # Source
/// Nelder and Mead, The Computer Journal 7 (1965) 308-313: reflect, expand, contract, shrink.
pub fn highest(height: impl Fn([f64; 2]) -> f64, start: [f64; 2]) -> [f64; 2] {
    let corner = |at: [f64; 2]| {
        let height = height(at);
        Corner {
            at,
            height: if height.is_nan() {
                f64::NEG_INFINITY
            } else {
                height
            },
        }
    };
    let [x, y] = start;
    let mut triangle = [start, [x + 0.5, y], [x, y + 0.5]].map(corner);
    for _ in 0..STEPS_MAX {
        triangle.sort_by(|one, other| other.height.total_cmp(&one.height));
        let [best, middle, worst] = triangle;
        if side(best, worst).max(side(best, middle)) < SIDE_MIN {
            break;
        }
        // A point on the line from the worst corner through the middle of the other two.
        let along = |part: f64| {
            let of = |one: f64, other: f64, from: f64| {
                let centre = f64::midpoint(one, other);
                centre + part * (centre - from)
            };
            let [best, middle, worst] = [best.at, middle.at, worst.at];
            corner([
                of(best[0], middle[0], worst[0]),
                of(best[1], middle[1], worst[1]),
            ])
        };
        let reflected = along(1.0);
        let next = if reflected.height > best.height {
            let expanded = along(2.0);
            if expanded.height > reflected.height {
                expanded
            } else {
                reflected
            }
        } else if reflected.height > middle.height {
            reflected
        } else if reflected.height > worst.height {
            along(0.5)
        } else {
            along(-0.5)
        };
        triangle = if next.height > worst.height {
            [best, middle, next]
        } else {
            let toward = |from: Corner| {
                corner([
                    f64::midpoint(best.at[0], from.at[0]),
                    f64::midpoint(best.at[1], from.at[1]),
                ])
            };
            [best, toward(middle), toward(worst)]
        };
    }
    triangle[0].at
}

fn side(one: Corner, other: Corner) -> f64 {
    (one.at[0] - other.at[0])
        .abs()
        .max((one.at[1] - other.at[1]).abs())
}

#[cfg(test)]
mod tests {
    use super::highest;

    #[test]
    fn the_top_of_a_ridge_is_found_from_afar() {
        let ridge = |[x, y]: [f64; 2]| -(1.0 - x).powi(2) - 100.0 * (y - x * x).powi(2);
        let [x, y] = highest(ridge, [-1.2, 1.0]);
        assert!((x - 1.0).abs() < 1e-6 && (y - 1.0).abs() < 1e-6, "{x} {y}");
    }

    #[test]
    fn where_nothing_is_a_number_the_search_ends() {
        assert!(highest(|_| f64::NAN, [0.0, 0.0])[0].is_finite());
    }
}
