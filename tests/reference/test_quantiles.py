"""Quantiles and tails against scipy's statistics."""

from __future__ import annotations

import math

import pytest
from scipy import special, stats

from habmap.land.quantiles import _beta, _root, chi2_quantile, chi2_tail, normal_quantile, t_quantile


@pytest.mark.parametrize("p", [0.005, 0.025, 0.2, 0.5, 0.8, 0.975, 0.995])
@pytest.mark.parametrize("df", [0.5, 1, 2, 3.7, 8, 30, 400, 60_000])
def test_the_quantiles_are_scipy_s(p: float, df: float) -> None:
    # the logarithm of the gamma function leaves as many digits fewer as it is large
    digits = 1e-12 if df < 1000 else 1e-9
    # older scipy's own search ends at some 2e-11 (1.14.0: 12.7062047364 for tan 0.475π = 12.7062047362)
    assert t_quantile(p, df) == pytest.approx(stats.t.ppf(p, df), rel=max(digits, 1e-10), abs=1e-12)
    assert chi2_quantile(p, df) == pytest.approx(stats.chi2.ppf(p, df), rel=digits)
    assert chi2_tail(df * p, df) == pytest.approx(stats.chi2.sf(df * p, df), rel=digits)
    assert normal_quantile(p) == pytest.approx(stats.norm.ppf(p), abs=1e-12)


def test_published_quantiles_and_what_is_none() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, tables 1.3.6.7.2 (t) and 1.3.6.7.4 (chi-square): from memory
    assert t_quantile(0.975, 10) == pytest.approx(2.228, abs=5e-4)
    assert chi2_quantile(0.95, 10) == pytest.approx(18.307, abs=5e-4)
    assert chi2_tail(0, 3) == 1
    assert all(math.isnan(found) for found in (t_quantile(0.9, 0), chi2_quantile(0.9, 0), chi2_tail(1, 0)))


@pytest.mark.parametrize("p", [0.005, 0.025, 0.2, 0.5, 0.8, 0.975, 0.995])
def test_of_one_and_two_degrees_of_freedom_the_t_quantile_has_closed_forms(p: float) -> None:
    """Cauchy's tan π(p − ½), and (2p − 1)/√(2p(1 − p)): both from the densities' own integrals."""
    assert t_quantile(p, 1) == pytest.approx(math.tan(math.pi * (p - 0.5)), rel=1e-12, abs=1e-12)
    assert t_quantile(p, 2) == pytest.approx((2 * p - 1) / math.sqrt(2 * p * (1 - p)), rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("p", [1e-9, 0.01, 0.3, 0.9, 1 - 1e-6])
def test_a_root_is_found_by_its_bracket_alone_where_no_slope_is_known(p: float) -> None:
    assert _root(lambda x: math.exp(-x), lambda _: 0.0, p, start=1.0) == pytest.approx(-math.log(p), rel=1e-9)
    assert _root(lambda x: math.exp(-x), lambda x: math.exp(-x), p, start=1.0) == pytest.approx(-math.log(p), rel=1e-9)


@pytest.mark.parametrize("a", [0.5, 3, 40])
@pytest.mark.parametrize("b", [0.5, 7.5])
def test_the_incomplete_beta_function_is_scipy_s_to_its_ends(a: float, b: float) -> None:
    for x in (0.0, 1e-9, 0.07, 0.3, 0.5, 0.72, 0.9, 0.999, 1.0):
        assert _beta(a, b, x) == pytest.approx(special.betainc(a, b, x), rel=1e-10, abs=1e-300)
