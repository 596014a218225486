//! Complex numbers, as far as circuits need them.

use core::ops::{Add, Div, Mul, Neg, Sub};

/// A complex number.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Complex {
    /// Real part.
    pub re: f64,
    /// Imaginary part.
    pub im: f64,
}

impl Complex {
    /// Nought.
    pub const ZERO: Complex = Complex { re: 0.0, im: 0.0 };
    /// One.
    pub const ONE: Complex = Complex { re: 1.0, im: 0.0 };

    /// From its parts.
    pub const fn new(re: f64, im: f64) -> Complex {
        Complex { re, im }
    }

    /// Its length.
    pub fn abs(self) -> f64 {
        self.re.hypot(self.im)
    }

    /// Its angle, rad, -pi to pi.
    pub fn arg(self) -> f64 {
        self.im.atan2(self.re)
    }

    /// Mirrored at the real axis.
    pub fn conj(self) -> Complex {
        Complex::new(self.re, -self.im)
    }

    /// The root whose real part is not negative.
    pub fn sqrt(self) -> Complex {
        let larger = (0.5 * (self.abs() + self.re.abs())).sqrt();
        if larger == 0.0 {
            return Complex::ZERO;
        }
        // The smaller part follows from the larger one: the difference of two numbers that are nearly equal is worth nothing.
        let smaller = self.im.abs() / (2.0 * larger);
        let (re, im) = if self.re >= 0.0 { (larger, smaller) } else { (smaller, larger) };
        Complex::new(re, if self.im < 0.0 { -im } else { im })
    }

    /// Hyperbolic cosine.
    pub fn cosh(self) -> Complex {
        Complex::new(self.re.cosh() * self.im.cos(), self.re.sinh() * self.im.sin())
    }

    /// sinh(x)/x, which is 1 at nought.
    pub fn sinhc(self) -> Complex {
        if self.abs() < 1e-3 {
            // The next term is below 1e-14.
            let square = self * self;
            return Complex::ONE + square * (1.0 / 6.0) + square * square * (1.0 / 120.0);
        }
        Complex::new(self.re.sinh() * self.im.cos(), self.re.cosh() * self.im.sin()) / self
    }
}

impl From<f64> for Complex {
    fn from(re: f64) -> Complex {
        Complex::new(re, 0.0)
    }
}

impl Add for Complex {
    type Output = Complex;
    fn add(self, o: Complex) -> Complex {
        Complex::new(self.re + o.re, self.im + o.im)
    }
}

impl Sub for Complex {
    type Output = Complex;
    fn sub(self, o: Complex) -> Complex {
        Complex::new(self.re - o.re, self.im - o.im)
    }
}

impl Neg for Complex {
    type Output = Complex;
    fn neg(self) -> Complex {
        Complex::new(-self.re, -self.im)
    }
}

impl Mul for Complex {
    type Output = Complex;
    fn mul(self, o: Complex) -> Complex {
        Complex::new(self.re * o.re - self.im * o.im, self.re * o.im + self.im * o.re)
    }
}

impl Mul<f64> for Complex {
    type Output = Complex;
    fn mul(self, k: f64) -> Complex {
        Complex::new(self.re * k, self.im * k)
    }
}

impl Div for Complex {
    type Output = Complex;
    fn div(self, o: Complex) -> Complex {
        // Scaled, so that neither very large nor very small numbers lose themselves in a square.
        let k = o.re.abs().max(o.im.abs());
        let (re, im) = (o.re / k, o.im / k);
        let n = (re * re + im * im) * k;
        Complex::new((self.re * re + self.im * im) / n, (self.im * re - self.re * im) / n)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arithmetic_undoes_itself() {
        let (a, b) = (Complex::new(3.0, -4.0), Complex::new(0.5, 2.0));
        assert_eq!(a.abs(), 5.0);
        assert!((a * b / b - a).abs() < 1e-12);
        for z in [a, b, Complex::new(-1.0, 1e-9), Complex::new(-4.0, -0.0)] {
            assert!((z.sqrt() * z.sqrt() - z).abs() < 1e-12, "{z:?}");
        }
        // cosh^2 - sinh^2 = 1, on both sides of the change from series to formula.
        for k in [1e-5, 9.9e-4, 1.01e-3, 0.3, 2.0] {
            let x = b * k;
            let sinh = x.sinhc() * x;
            assert!((x.cosh() * x.cosh() - sinh * sinh - Complex::ONE).abs() < 1e-12, "{k}");
        }
    }
}
