"""The same Newton iteration with NGSolve: compiled forms, its best direct solver, analysis kept.

Full integration instead of mean dilatation, which is less work for NGSolve. Properties and plastic
strain are stored at the integration points, as they are in weldsim.
"""

from __future__ import annotations

import os
import sysconfig

import numpy as np

SOLVERS = ("pardiso", "sparsecholesky")
FORMS = ("written", "derived")


class CompiledForms:
    """One Newton iteration on a `Problem` with 8-node bricks.

    Parameters
    ----------
    form : {'written', 'derived'}
        The tangent written out as a bilinear form, or derived by NGSolve from the stress.
    compiled : bool
        With a C++ compiler; otherwise NGSolve's own expression compilation.
    """

    def __init__(self, problem, solver="pardiso", form="written", compiled=True, threads=2):
        import common
        import ngsolve as ng
        from ngsolve.meshes import MakeStructured3DMesh

        # NGSolve's compiler call lies beside this interpreter
        scripts = sysconfig.get_path("scripts")
        if scripts not in os.environ["PATH"].split(os.pathsep):
            os.environ["PATH"] = scripts + os.pathsep + os.environ["PATH"]
        ng.SetNumThreads(threads)
        x, y, z = common.axes(problem.counts)

        def mapped(a, b, c):
            def at(line, s):
                return float(np.interp(s, np.linspace(0, 1, line.size), line))

            return at(x, a), at(y, b), at(z, c)

        nx, ny, nz = (n - 1 for n in problem.counts)
        mesh = MakeStructured3DMesh(hexes=True, nx=nx, ny=ny, nz=nz, mapping=mapped)
        self.ng, self.mesh, self.form, self.solver = ng, mesh, form, solver
        fes = ng.VectorH1(mesh, order=1, dirichlet="back|front|left|right|top|bottom")
        free = ng.BitArray(fes.ndof)
        free.Set()
        places = np.array([v.point for v in mesh.vertices])
        for component in range(3):
            for node in np.flatnonzero(places[:, 0] < 1e-9):
                free.Clear(int(node) + component * mesh.nv)
        self.fes, self.free = fes, free
        order = np.lexsort(np.round(places, 9).T)
        ours = np.lexsort(np.round(problem.model.points, 9).T)
        self.match = np.empty(mesh.nv, dtype=int)
        self.match[order] = ours  # our node at each vertex
        self._fields(problem)
        self._forms(compiled)

    def _fields(self, problem):
        """Properties and memory at the integration points, as NGSolve functions."""
        ng, mesh = self.ng, self.mesh
        from ngsolve.comp import IntegrationRuleSpace

        scalar = IntegrationRuleSpace(mesh, order=1)  # 2 x 2 x 2 points
        self.rules = scalar.GetIntegrationRules()
        where = []
        for coordinate in (ng.x, ng.y, ng.z):
            values = ng.GridFunction(scalar)
            values.Interpolate(coordinate)
            where.append(values.vec.FV().NumPy().copy())
        where = np.array(where).T
        # our quadrature points in the same order
        from common import quadrature_places

        own = quadrature_places(problem.mesh, problem.model).reshape(-1, 3)
        if len(own) != len(where):
            raise RuntimeError("NGSolve uses another number of integration points")
        a, b = (np.lexsort(np.round(p, 9).T) for p in (where, own))
        index = np.empty(len(own), dtype=int)
        index[a] = b
        if np.abs(where - own[index]).max() > 1e-9:
            raise RuntimeError("NGSolve uses other integration points")

        def field(values):
            f = ng.GridFunction(scalar)
            f.vec.FV().NumPy()[:] = values.reshape(-1)[index]
            return f

        p, m = problem.properties, problem.internal_variables
        self.K, self.G, self.sy = field(p.bulk), field(p.shear), field(p.yield_stress)
        self.iso, self.kin, self.th = (
            field(p.isotropic), field(p.kinematic), field(p.thermal_strain),
        )  # fmt: skip
        self.eqp = field(m.equivalent_plastic_strain)
        s = [field(m.plastic_strain[..., i]) for i in range(6)]
        self.ep = ng.CoefficientFunction(
            (s[0], s[3], s[5], s[3], s[1], s[4], s[5], s[4], s[2]), dims=(3, 3)
        )
        self.u = ng.GridFunction(self.fes)
        flat = problem.displacement[self.match]
        self.u.vec.FV().NumPy()[:] = flat.T.ravel()

    def _law(self, strain):
        """Stress, flow direction and tangent factors as coefficient functions of the strain."""
        ng = self.ng
        one = ng.Id(3)
        elastic = strain - self.ep - self.th * one
        tr = ng.Trace(elastic)
        dev = 2 * self.G * (elastic - tr / 3 * one)
        xi = dev - 2 / 3 * self.kin * self.ep
        norm = ng.sqrt(ng.InnerProduct(xi, xi) + 1e-6)
        over = np.sqrt(1.5) * norm - self.sy - self.iso * self.eqp
        hard = self.iso + self.kin
        step = ng.IfPos(over, np.sqrt(1.5) * over / (3 * self.G + hard), 0)
        n = xi / norm
        stress = dev - 2 * self.G * step * n + self.K * tr * one
        t1 = 1 - 2 * self.G * step / norm
        t2 = ng.IfPos(over, 1 / (1 + hard / (3 * self.G)) - (1 - t1), 0)
        return stress, n, t1, t2

    def _forms(self, compiled):
        ng, fes = self.ng, self.fes
        u, v = fes.TnT()
        dx = ng.dx(intrules=self.rules)
        make = {"realcompile": True, "wait": True} if compiled else {}

        def strain(w):
            return ng.Sym(ng.Grad(w))

        stress, n, t1, t2 = self._law(strain(self.u))
        self.residual = ng.LinearForm(fes)
        self.residual += ng.InnerProduct(stress, strain(v)).Compile(**make) * dx
        self.a = ng.BilinearForm(fes, symmetric=True, condense=False)
        if self.form == "derived":
            law = self._law(strain(u))[0]
            self.a += ng.InnerProduct(law, strain(v)).Compile(**make) * dx
        else:
            e, f = strain(u), strain(v)
            spread = ng.InnerProduct(e, f) - ng.Trace(e) * ng.Trace(f) / 3
            value = self.K * ng.Trace(e) * ng.Trace(f) + 2 * self.G * t1 * spread
            value -= 2 * self.G * t2 * ng.InnerProduct(n, e) * ng.InnerProduct(n, f)
            self.a += value.Compile(**make) * dx
        self.inverse = None
        self.step = self.u.vec.CreateVector()

    def assemble(self):
        if self.form == "derived":
            self.a.AssembleLinearization(self.u.vec)
        else:
            self.a.Assemble()

    def iterate(self):
        with self.ng.TaskManager():
            self.residual.Assemble()
            self.assemble()
            if self.inverse is None:
                self.inverse = self.a.mat.Inverse(self.free, inverse=self.solver)
            else:
                self.inverse.Update()
            self.step.data = self.inverse * self.residual.vec

    def solve_only(self):
        with self.ng.TaskManager():
            self.inverse.Update()
            self.step.data = self.inverse * self.residual.vec

    def force(self):
        """Internal force as (N, 3) in our order of nodes."""
        self.residual.Assemble()
        return self.nodal(self.residual.vec)

    def nodal(self, vector):
        out = np.empty((self.mesh.nv, 3))
        out[self.match] = vector.FV().NumPy().reshape(3, -1).T
        return out
