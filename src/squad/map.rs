//! A squad on a sheet of paper: two-dimensional places that keep distances as well as two
//! dimensions can.

use linfa_linalg::eigh::{EigSort, EighInto};
use ndarray::Array2;

use super::Distances;

/// Places on the map, and how faithful they are.
#[derive(Debug, Clone, PartialEq)]
pub struct SquadMap {
    /// x, y of each serve, in the unit of the distances, centred on 0.
    pub places: Vec<[f64; 2]>,
    /// Share of the spread that two dimensions hold, 0 to 1 (positive eigenvalues only).
    pub kept: f64,
}

/// At most this many serves enter the eigenproblem; the others are placed by their distances to
/// these.
pub const LANDMARKS: usize = 600;

/// Classical scaling (Torgerson 1952, doi 10.1007/BF02288916); with more than [`LANDMARKS`]
/// serves, scaling of evenly chosen landmarks and placement of the rest (de Silva & Tenenbaum
/// 2004, "Sparse multidimensional scaling using landmark points").
///
/// The sign of each axis is fixed so that the serve farthest from 0 along it lies on the positive
/// side. O(landmarks^3 + n landmarks).
///
/// # Errors
/// If the eigenproblem does not converge.
pub fn squad_map(distances: &Distances) -> Result<SquadMap, linfa_linalg::LinalgError> {
    let n = distances.len();
    if n < 2 {
        return Ok(SquadMap { places: vec![[0.0; 2]; n], kept: 1.0 });
    }
    let m = n.min(LANDMARKS);
    let landmarks: Vec<usize> = (0..m).map(|i| i * n / m).collect();
    let square = |a: usize, b: usize| f64::from(distances.between(a, b)).powi(2);
    let squares = Array2::from_shape_fn((m, m), |(a, b)| square(landmarks[a], landmarks[b]));
    let means: Vec<f64> = squares.rows().into_iter().map(|row| row.sum() / m as f64).collect();
    let mean = means.iter().sum::<f64>() / m as f64;
    let centred = Array2::from_shape_fn((m, m), |(a, b)| {
        -0.5 * (squares[[a, b]] - means[a] - means[b] + mean)
    });
    let (values, vectors) = centred.eigh_into()?.sort_eig_desc();
    let positive: f64 = values.iter().filter(|v| **v > 0.0).sum();
    let mut places = vec![[0.0; 2]; n];
    for axis in 0..2.min(m) {
        let value = values[axis];
        // A spread at the level of rounding is none: everything lies on the other axis.
        if value <= 1e-9 * positive {
            continue;
        }
        let vector = vectors.column(axis);
        for (item, place) in places.iter_mut().enumerate() {
            let along: f64 =
                (0..m).map(|l| vector[l] * (means[l] - square(item, landmarks[l]))).sum();
            place[axis] = 0.5 * along / value.sqrt();
        }
        let farthest = places
            .iter()
            .map(|p| p[axis])
            .fold(0.0, |far: f64, x| if x.abs() > far.abs() { x } else { far });
        if farthest < 0.0 {
            places.iter_mut().for_each(|p| p[axis] = -p[axis]);
        }
    }
    let kept = if positive > 0.0 {
        values.iter().take(2).map(|v| v.max(0.0)).sum::<f64>() / positive
    } else {
        1.0
    };
    Ok(SquadMap { places, kept })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plane(n: usize) -> (Distances, Vec<[f64; 2]>) {
        // A spiral: no two points alike, no symmetry.
        let points: Vec<[f64; 2]> = (0..n)
            .map(|i| {
                let t = i as f64 * 0.37;
                [t.cos() * (1.0 + t), 0.4 * t.sin() * (1.0 + t)]
            })
            .collect();
        let condensed: Vec<f32> = (0..n)
            .flat_map(|i| {
                let points = &points;
                (i + 1..n).map(move |j| {
                    (points[i][0] - points[j][0]).hypot(points[i][1] - points[j][1]) as f32
                })
            })
            .collect();
        (Distances::new(n, &condensed).unwrap(), points)
    }

    fn worst_distance_error(n: usize) -> (f64, f64) {
        let (distances, _) = plane(n);
        let map = squad_map(&distances).unwrap();
        let mut worst: f64 = 0.0;
        let mut largest: f64 = 0.0;
        for i in 0..n {
            for j in i + 1..n {
                let (a, b) = (map.places[i], map.places[j]);
                let found = (a[0] - b[0]).hypot(a[1] - b[1]);
                let want = f64::from(distances.between(i, j));
                worst = worst.max((found - want).abs());
                largest = largest.max(want);
            }
        }
        (worst / largest, map.kept)
    }

    #[test]
    fn points_of_a_plane_keep_their_distances() {
        let (worst, kept) = worst_distance_error(40);
        assert!(worst < 1e-5 && kept > 0.999, "{worst} {kept}");
    }

    #[test]
    fn landmarks_place_the_rest_of_a_plane_exactly_too() {
        let (worst, kept) = worst_distance_error(LANDMARKS + 150);
        assert!(worst < 1e-4 && kept > 0.999, "{worst} {kept}");
    }

    #[test]
    fn same_serves_lie_on_one_place() {
        let map = squad_map(&Distances::new(3, &[0.0; 3]).unwrap()).unwrap();
        assert_eq!(map.places, [[0.0; 2]; 3]);
    }
}
