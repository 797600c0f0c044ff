"""The special functions behind every interval and every test, in one place.

They come from ``scipy.special``: a well-kept library is worth more here than
functions of our own.  It is imported when the first of them is called, so that
a command which needs none of them starts without it.  Nothing else in
``models.history`` imports scipy.
"""

from __future__ import annotations

from typing import Any, cast

import numpy as np

from models.history.columns import FloatArray


def _special() -> Any:
    from scipy import special

    return special


def _array(values: object) -> FloatArray:
    return cast("FloatArray", np.asarray(values, dtype=np.float64))


def normal_cdf(z: FloatArray | float) -> FloatArray:
    """Give the probability that a standard normal value is at most z.

    Parameters
    ----------
    z : float array or float
        Values. [unitless]
    """
    return _array(_special().ndtr(z))


def normal_quantile(p: FloatArray | float) -> FloatArray:
    """Give the standard normal value that is not exceeded with probability p.

    Parameters
    ----------
    p : float array or float
        Probability, above 0 and below 1. [unitless]
    """
    return _array(_special().ndtri(p))


def chi2_cdf(x: FloatArray | float, df: FloatArray | float) -> FloatArray:
    """Give the probability that a chi-square value is at most x.

    Parameters
    ----------
    x : float array or float
        Values. [unitless]
    df : float array or float
        Degrees of freedom, above 0. [unitless]
    """
    return _array(_special().chdtr(df, x))


def chi2_sf(x: FloatArray | float, df: FloatArray | float) -> FloatArray:
    """Give the probability that a chi-square value exceeds x.

    Parameters
    ----------
    x : float array or float
        Values. [unitless]
    df : float array or float
        Degrees of freedom, above 0. [unitless]
    """
    return _array(_special().chdtrc(df, x))


def chi2_quantile(p: FloatArray | float, df: FloatArray | float) -> FloatArray:
    """Give the chi-square value that is not exceeded with probability p.

    Parameters
    ----------
    p : float array or float
        Probability, above 0 and below 1. [unitless]
    df : float array or float
        Degrees of freedom, above 0. [unitless]
    """
    return _array(_special().chdtri(df, 1.0 - _array(p)))


def t_cdf(t: FloatArray | float, df: FloatArray | float) -> FloatArray:
    """Give the probability that a Student t value is at most t; infinite df is the normal.

    Parameters
    ----------
    t : float array or float
        Values. [unitless]
    df : float array or float
        Degrees of freedom, above 0. [unitless]
    """
    value, freedom = np.broadcast_arrays(_array(t), _array(df))
    finite = np.isfinite(freedom)
    return _array(np.where(finite, _special().stdtr(np.where(finite, freedom, 1.0), value), _special().ndtr(value)))


def t_quantile(p: FloatArray | float, df: FloatArray | float) -> FloatArray:
    """Give the Student t value that is not exceeded with probability p; infinite df is the normal.

    Parameters
    ----------
    p : float array or float
        Probability, above 0 and below 1. [unitless]
    df : float array or float
        Degrees of freedom, above 0. [unitless]
    """
    value, freedom = np.broadcast_arrays(_array(p), _array(df))
    finite = np.isfinite(freedom)
    return _array(np.where(finite, _special().stdtrit(np.where(finite, freedom, 1.0), value), _special().ndtri(value)))


TABLE_POINTS = 2000


def t_quantile_by_table(p: float, df: FloatArray) -> FloatArray:
    """Give the same for one p and many df, read off a table that is even in 1 / df; right to 1e-6.

    Parameters
    ----------
    p : float
        Probability. [unitless]
    df : (n,) float array
        Degrees of freedom, at least 1. [unitless]

    Notes
    -----
    Between two points of the table it is linear. A back-test needs millions of these, the exact inverse takes a
    microsecond each.
    """
    step = np.linspace(0.0, 1.0, TABLE_POINTS + 1)
    table = t_quantile(p, 1.0 / np.maximum(step, 1e-300))
    return _array(np.interp(1.0 / _array(df), step, table))


def f_sf(f: FloatArray | float, df1: FloatArray | float, df2: FloatArray | float) -> FloatArray:
    """Give the probability that an F value exceeds f; infinite df2 is chi-square over df1.

    Parameters
    ----------
    f : float array or float
        Values. [unitless]
    df1 : float array or float
        Degrees of freedom of the numerator. [unitless]
    df2 : float array or float
        Degrees of freedom of the denominator. [unitless]
    """
    value, top, bottom = np.broadcast_arrays(_array(f), _array(df1), _array(df2))
    finite = np.isfinite(bottom)
    exact = _special().fdtrc(top, np.where(finite, bottom, 1.0), value)
    return _array(np.where(finite, exact, _special().chdtrc(top, top * value)))


def f_quantile(p: FloatArray | float, df1: FloatArray | float, df2: FloatArray | float) -> FloatArray:
    """Give the F value that is not exceeded with probability p.

    Parameters
    ----------
    p : float array or float
        Probability, above 0 and below 1. [unitless]
    df1 : float array or float
        Degrees of freedom of the numerator. [unitless]
    df2 : float array or float
        Degrees of freedom of the denominator. [unitless]
    """
    return _array(_special().fdtri(df1, df2, p))


def beta_cdf(x: FloatArray | float, a: FloatArray | float, b: FloatArray | float) -> FloatArray:
    """Give the probability that a beta value is at most x.

    Parameters
    ----------
    x : float array or float
        Values. [unitless]
    a : float array or float
        First shape, above 0. [unitless]
    b : float array or float
        Second shape, above 0. [unitless]
    """
    return _array(_special().betainc(a, b, x))


def beta_quantile(p: FloatArray | float, a: FloatArray | float, b: FloatArray | float) -> FloatArray:
    """Give the beta value that is not exceeded with probability p.

    Parameters
    ----------
    p : float array or float
        Probability, above 0 and below 1. [unitless]
    a : float array or float
        First shape, above 0. [unitless]
    b : float array or float
        Second shape, above 0. [unitless]
    """
    return _array(_special().betaincinv(a, b, p))


def gamma_cdf(x: FloatArray | float, shape: FloatArray | float) -> FloatArray:
    """Give the probability that a gamma value of scale one is at most x.

    Parameters
    ----------
    x : float array or float
        Values. [unitless]
    shape : float array or float
        Shape, above 0. [unitless]
    """
    return _array(_special().gammainc(shape, x))


def gamma_quantile(p: FloatArray | float, shape: FloatArray | float) -> FloatArray:
    """Give the gamma value of scale one that is not exceeded with probability p.

    Parameters
    ----------
    p : float array or float
        Probability, above 0 and below 1. [unitless]
    shape : float array or float
        Shape, above 0. [unitless]
    """
    return _array(_special().gammaincinv(shape, p))


def log_gamma(x: FloatArray | float) -> FloatArray:
    """Give the logarithm of the gamma function.

    Parameters
    ----------
    x : float array or float
        Values. [unitless]
    """
    return _array(_special().gammaln(x))


def digamma(x: FloatArray | float) -> FloatArray:
    """Give the derivative of the logarithm of the gamma function.

    Parameters
    ----------
    x : float array or float
        Values. [unitless]
    """
    return _array(_special().psi(x))


def trigamma(x: FloatArray | float) -> FloatArray:
    """Give the second derivative of the logarithm of the gamma function.

    Parameters
    ----------
    x : float array or float
        Values. [unitless]
    """
    return _array(_special().polygamma(1, x))


def binomial_upper_tail(count: FloatArray | float, n: FloatArray | float, p: FloatArray | float) -> FloatArray:
    """Give the probability of at least this many of n when each happens with probability p.

    Parameters
    ----------
    count : float array or float
        At least so many. [unitless]
    n : float array or float
        Of so many. [unitless]
    p : float array or float
        Probability of each. [unitless]
    """
    at_least, of, share = np.broadcast_arrays(_array(count), _array(n), _array(p))
    some = at_least > 0
    tail = _special().betainc(np.where(some, at_least, 1.0), np.maximum(of - at_least + 1.0, 1.0), share)
    return np.where(some, tail, 1.0)
