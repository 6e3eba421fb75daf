"""One period of a large circuit, all its instants solved at once.

With every device at a reference slope the period falls apart into harmonics, each one sparse
matrix. What the strongly moving devices (rectifiers, an output tube) add is put right exactly at
their few ports (Woodbury, Memorandum 42, Statistical Research Group, Princeton, 1950), and what the
others move, by iteration.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import lu_factor, lu_solve
from scipy.sparse import csr_array

from rework.solve.arrays import Complexes, Floats, Ints
from rework.solve.network import Network
from rework.solve.sparse import Sparse

#: A device whose slope moves by less than this share of what holds its ports is left to iteration.
WEAK = 0.1
#: Unknowns at the ports of strong devices over the period: what their dense matrix may hold.
PORTS = 3072
#: Iterations for the weak devices, and the share of the answer that ends them.
ROUNDS, ENOUGH = 12, 1e-5
#: A harmonic with less than this share of every ripple does not count in what moves ripple.
FAINT = 1e-5


class Turn:
    """Newton steps of one period of ``instants``: y with A[t] y[t] + C (rate of y) = right[t]
    around the circle.

    ``pace`` is the length of an instant in seconds. The harmonics are kept from step to step while
    the reference slopes serve.
    """

    def __init__(self, network: Network, instants: int, step_ratio: float) -> None:
        self.sparse, self.instants = Sparse(network), instants
        self.c = self.sparse.c / step_ratio
        turn = np.exp(-2j * np.pi * np.arange(instants // 2 + 1) / instants)
        self.rates = 1.5 - 2 * turn + 0.5 * turn**2
        self.p, self.q = network.entries
        rows = len(network.reads)
        self.reads = self.sparse.reads
        self.gather = csr_array(
            (np.ones(len(self.p)), (self.p, np.arange(len(self.p)))), shape=(rows, len(self.p))
        )
        widths = [device.law.controls for device in network.ordered]
        self.device = np.repeat(np.arange(len(widths)), widths)
        self.reference: Floats = np.zeros(0)
        self.answers: Floats = np.zeros(0)

    def excess(self, x: Floats, rates: Floats, currents: Floats, source: Floats) -> Floats:
        """Return what is left of the equations at x (instants, n), whose ``rates`` are those of an
        instant.
        """
        sparse = self.sparse
        charging: Floats = (sparse.into @ (self.c * rates[:, sparse.columns]).T).T
        return sparse.times(sparse.g, x, currents) + charging - source

    def step(self, slopes: Floats, excess: Floats) -> Floats:
        """Return the Newton step (instants, n) that takes the ``excess`` away, with these device
        slopes (instants, entries).
        """
        self.at(slopes)
        return self.solve(excess)

    def at(self, slopes: Floats) -> None:
        """Take the device slopes (instants, entries)."""
        if not len(self.reference) or self._strength(slopes)[~self.strong].max(initial=0.0) > WEAK:
            self._refer(slopes)
        off = slopes - self.reference
        strong = self.strong[self.device[self.p]]
        self.weak = np.where(strong, 0.0, off)
        ports = np.flatnonzero(self.strong[self.device])
        place = {int(port): k for k, port in enumerate(ports)}
        self.ports, t, m = ports, self.instants, len(ports)
        self.moved = np.zeros((t, m, m))
        for e in np.flatnonzero(strong):
            self.moved[:, place[int(self.p[e])], place[int(self.q[e])]] = off[:, e]
        if m:
            behind = (np.arange(t)[:, None] - np.arange(t)) % t
            coupled = np.einsum(
                "tspq,sqr->tpsr", self.answers[behind], self.moved, optimize=True
            ).reshape(t * m, t * m)
            coupled[np.diag_indices(t * m)] += 1.0
            self.lu = lu_factor(coupled, overwrite_a=True, check_finite=False)

    def _refer(self, slopes: Floats) -> None:
        self.reference = slopes.mean(0)
        still = self.sparse.g + self.sparse.devices @ self.reference
        self.harmonics = [self.sparse.factored(still + rate * self.c) for rate in self.rates]
        reads = self.reads.toarray().astype(complex)
        ends = [np.flatnonzero(row) for row in reads]
        self.held = np.zeros(len(reads))
        for factors in (self.harmonics[0], self.harmonics[len(self.rates) // 8]):
            self.held = np.maximum(
                self.held,
                [
                    abs(row[at] @ factors.solve(row)[at])
                    for row, at in zip(reads, ends, strict=True)
                ],
            )
        strength = self._strength(slopes)
        order = np.argsort(-strength, kind="stable")
        most = (
            np.cumsum(np.bincount(self.device, minlength=len(strength))[order]) * self.instants
            <= PORTS
        )
        self.strong = np.zeros(len(strength), bool)
        self.strong[order[most & (strength[order] > WEAK / 2)]] = True
        into = np.ascontiguousarray(reads[self.strong[self.device]].T)
        self.columns = [factors.solve(into) for factors in self.harmonics] if into.size else []
        if into.size:
            self.answers = np.fft.irfft(
                np.stack([into.T @ column for column in self.columns]), self.instants, axis=0
            )

    def _strength(self, slopes: Floats) -> Floats:
        """Return by what share of what holds its ports each device's slope moves about the
        reference.
        """
        moved = np.abs(slopes - self.reference).max(0) * np.sqrt(
            self.held[self.p] * self.held[self.q]
        )
        strength: Floats = np.bincount(
            self.device[self.p], moved, minlength=int(self.device.max(initial=-1)) + 1
        ).astype(float)
        return strength

    def solve(self, right: Floats) -> Floats:
        """Return y (instants, n) for ``right`` (instants, n)."""
        y = part = self._strongly(right)
        last = np.inf
        for _ in range(ROUNDS if self.weak.any() else 0):
            currents = (self.gather @ (self.weak * self.sparse.network.across(part)[:, self.q]).T).T
            part = -self._strongly((self.reads.T @ currents.T).T)
            size = np.abs(part).max()
            if not size < last:
                break
            y, last = y + part, size
            if size < ENOUGH * np.abs(y).max():
                break
        return y

    def _strongly(self, right: Floats) -> Floats:
        """Return the same with the weak devices at their reference."""
        turned = np.fft.rfft(right, axis=0)
        y = np.stack(
            [factors.solve(column) for factors, column in zip(self.harmonics, turned, strict=True)]
        )
        if len(self.ports):
            across = np.fft.irfft(y @ self.reads[self.ports].toarray().T, self.instants, axis=0)
            pushed = np.fft.rfft(self._at_ports(across), axis=0)
            y = y - np.stack(
                [columns @ push for columns, push in zip(self.columns, pushed, strict=True)]
            )
        return np.fft.irfft(y, self.instants, axis=0)

    def _at_ports(self, across: Floats) -> Floats:
        """Return the extra currents of the strong devices for what would stand across their ports
        without them (instants, ports, ...).
        """
        t, m = across.shape[:2]
        volts = lu_solve(self.lu, across.reshape(t * m, -1), check_finite=False).reshape(
            across.shape
        )
        amps: Floats = (self.moved @ volts.reshape(t, m, -1)).reshape(across.shape)
        return amps

    def moves(
        self, waves: Floats, places: Floats, owners: Ints, ripple: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Return how means of the unknowns (n, knobs), the same products with ``ripple`` (instants,
        n), and means of the device currents (m, knobs) move with what pushes: knob ``owners[k]`` by
        ``waves[:, k]`` along ``places[:, k]``, to first order.

        Weak devices count as often as they act once: on what moves the means. Of the ripple, every
        harmonic counts that holds ``FAINT`` of it at any unknown.
        """
        t, m = self.instants, len(self.ports)
        summed = csr_array((np.ones(len(owners)), (np.arange(len(owners)), owners)))
        places, ports = csr_array(places), csr_array(self.reads.T)
        turned, varied, waved = (np.fft.rfft(wave, axis=0) for wave in (-waves, self.weak, ripple))
        weights = (
            np.where((np.arange(len(waved)) > 0) & (2 * np.arange(len(waved)) < t), 2.0, 1.0) / t**2
        )
        energy = np.abs(waved) ** 2 * weights[:, None]
        energy[0] = 0.0
        counts = np.flatnonzero((energy > FAINT * np.maximum(energy.sum(0), 1e-12)).any(1))
        weak = [
            csr_array((wave, (self.p, self.q)), shape=(len(self.device), len(self.device)))
            for wave in varied
        ]
        into = np.ascontiguousarray(self.reads[self.ports].toarray().T.astype(complex))
        across = [factors.solve(into, "T").T if m else into.T for factors in self.harmonics]
        seen = np.stack(
            [(some @ places * wave) @ summed for some, wave in zip(across, turned, strict=True)]
        )
        pushed = self._pushed(seen)

        means = ((self._inverse(0) @ places * turned[0]) @ summed).real / t
        if m:
            means -= (self.columns[0] @ pushed[0]).real / t
        volts = self.reads @ means
        pushed = self._pushed(
            seen
            - np.stack([some @ ports @ matrix for some, matrix in zip(across, weak, strict=True)])
            @ volts
        )
        plain, bent, products = (
            np.zeros(places.shape),
            np.zeros((self.sparse.n, len(self.device))),
            np.zeros(means.shape),
        )
        for k in counts.tolist():
            inverse, wave = self._inverse(k), weights[k] * waved[k].conj()[:, None]
            plain += (wave * (inverse @ places) * turned[k]).real
            bent += (wave * (inverse @ ports @ weak[k])).real
            if m:
                products -= (wave * self.columns[k] @ pushed[k]).real
        amps = self.sparse.network.squares(self.reference) @ volts
        amps[self.ports] += pushed[0].real / t
        return means, products + plain @ summed - bent @ volts, amps

    def _pushed(self, seen: Complexes) -> Complexes:
        """Return the harmonics of the extra currents of the strong devices for those of what their
        ports would see without them.
        """
        return (
            np.fft.rfft(self._at_ports(np.fft.irfft(seen, self.instants, axis=0)), axis=0)
            if len(self.ports)
            else seen
        )

    def _inverse(self, k: int) -> Complexes:
        inverse: Complexes = self.harmonics[k].solve(np.eye(self.sparse.n, dtype=complex))
        return inverse
