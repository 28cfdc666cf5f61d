"""The same Newton iteration written plainly: scikit-fem forms, SciPy's SuperLU.

Full integration instead of mean dilatation, which is less work.
"""

from __future__ import annotations

import numpy as np


class PlainForms:
    """One Newton iteration on a `Problem` with 8-node bricks."""

    def __init__(self, problem):
        import skfem
        from skfem.helpers import ddot, eye, sym_grad, trace

        self.problem = problem
        mesh = problem.mesh
        self.basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementHex1()), intorder=3)
        p = problem.properties
        self.K, self.G, self.th = p.bulk, p.shear, p.thermal_strain
        m = problem.internal_variables.plastic_strain
        xx, yy, zz, xy, yz, xz = np.moveaxis(m, -1, 0)
        self.ep = np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])
        self.dofs = self.basis.get_dofs(lambda x: x[0] < 1e-9)
        # nodal dofs are numbered node by node in scikit-fem
        self.u = problem.displacement.ravel()[np.argsort(self.basis.nodal_dofs.T.ravel())]

        @skfem.BilinearForm
        def tangent(u, v, w):
            e, f = sym_grad(u), sym_grad(v)
            dev = ddot(e, f) - trace(e) * trace(f) / 3
            plain = w["K"] * trace(e) * trace(f) + 2 * w["G"] * w["t1"] * dev
            return plain - 2 * w["G"] * w["t2"] * ddot(w["n"], e) * ddot(w["n"], f)

        @skfem.LinearForm
        def inner(v, w):
            return ddot(w["s"], sym_grad(v))

        self.tangent, self.inner, self.eye = tangent, inner, eye
        self.sym_grad, self.trace = sym_grad, trace

    def law(self):
        """Stress and tangent coefficients at the quadrature points."""
        p = self.problem.properties
        one = self.eye(1.0, 3)[:, :, None, None]
        strain = self.sym_grad(self.basis.interpolate(self.u))
        elastic = strain - self.ep - self.th * one
        tr = self.trace(elastic)
        dev = 2 * self.G * (elastic - tr / 3 * one)
        xi = dev - 2 / 3 * p.kinematic * self.ep
        norm = np.sqrt((xi**2).sum(axis=(0, 1)))
        eqp = self.problem.internal_variables.equivalent_plastic_strain
        over = np.maximum(np.sqrt(1.5) * norm - p.yield_stress - p.isotropic * eqp, 0)
        hard = p.isotropic + p.kinematic
        n = xi / np.maximum(norm, 1e-30)
        step = np.sqrt(1.5) * over / (3 * self.G + hard)
        stress = dev - 2 * self.G * step * n + self.K * tr * one
        t1 = 1 - 2 * self.G * step / np.maximum(norm, 1e-30)
        t2 = np.where(over > 0, 1 / (1 + hard / (3 * self.G)) - (1 - t1), 0)
        return stress, n, t1, t2

    def force(self):
        return self.inner.assemble(self.basis, s=self.law()[0])

    def iterate(self):
        import skfem

        stress, n, t1, t2 = self.law()
        f = self.inner.assemble(self.basis, s=stress)
        A = self.tangent.assemble(self.basis, K=self.K, G=self.G, t1=t1, t2=t2, n=n)
        return skfem.solve(*skfem.condense(A, -f, D=self.dofs))

    def nodal(self, vector):
        """Vector as (N, 3) in our order of nodes."""
        return vector[self.basis.nodal_dofs.T]
