"""BoTorch's constrained noisy expected improvement as a peer (optional extra ``study``)."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.stats import norm

from experiments.job import Setting
from experiments.studies.bayesian import FIRST_RUNS, SobolSearch
from experiments.studies.gaussian import candidates
from experiments.studies.strategy import (
    Belief,
    Claim,
    Problem,
    normal_belief,
    probability_of_targets,
)
from models.system import Array

SAMPLES = 128


class BoTorchSearch(SobolSearch):
    """qLogNoisyExpectedImprovement with one constraint per analyte and one for finishing.

    Standardised single-task processes with the known noise; joint batches. The
    recommendation uses the same processes at the asked assurance.
    """

    def __init__(self, problem: Problem, budget: int) -> None:
        super().__init__(problem, budget)
        import torch

        torch.manual_seed(problem.seed)
        torch.set_num_threads(1)

    def _fit(self) -> Any:
        """A list of processes: -ln(time), each recovery less target, finishing."""
        import torch
        from botorch import fit_gpytorch_mll
        from botorch.models import ModelListGP, SingleTaskGP
        from botorch.models.transforms import Standardize
        from gpytorch.mlls import SumMarginalLogLikelihood

        done = [o for o in self.seen if o.is_finished and not np.isnan(o.recovery).any()]
        if len(done) < 2:
            return None
        x = torch.tensor(np.array([o.u for o in done]), dtype=torch.double)
        ln_time = np.log([o.run_time for o in done])
        columns = [(-ln_time, np.full(len(done), self.problem.time_noise))]
        for a, target in enumerate(self.problem.targets):
            y = np.array([o.recovery[a] for o in done])
            columns.append((y - target, self.problem.recovery_noise(y)))
        models = [
            SingleTaskGP(x, _column(y), train_Yvar=_column(sd**2),
                         outcome_transform=Standardize(m=1))
            for y, sd in columns
        ]
        labels = np.array([1.0 if o.is_finished else -1.0 for o in self.seen])
        if (labels < 0).any():
            everywhere = torch.tensor(np.array([o.u for o in self.seen]), dtype=torch.double)
            models.append(SingleTaskGP(everywhere, _column(labels),
                                       train_Yvar=_column(np.full(len(labels), 0.01))))
        model = ModelListGP(*models)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            fit_gpytorch_mll(SumMarginalLogLikelihood(model.likelihood, model))
        return model

    def propose(self, n: int) -> list[Setting]:
        model = self._fit() if len(self.seen) >= FIRST_RUNS else None
        if model is None:
            return super().propose(n)
        import torch
        from botorch.optim import optimize_acqf

        bounds = torch.tensor([[0.0] * self.problem.dimension, [1.0] * self.problem.dimension],
                              dtype=torch.double)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            best, _ = optimize_acqf(self._acquisition(model), bounds=bounds, q=n, num_restarts=6,
                                    raw_samples=128, options={"maxiter": 100})
        return [self.problem.decode(u) for u in best.detach().numpy()]

    def _acquisition(self, model: Any) -> Any:
        """Noisy expected improvement; probability of feasibility while nothing is feasible."""
        import torch
        from botorch.acquisition.logei import (
            qLogNoisyExpectedImprovement,
            qLogProbabilityOfFeasibility,
        )
        from botorch.acquisition.objective import GenericMCObjective
        from botorch.sampling import SobolQMCNormalSampler

        constraints = [lambda z, k=k: -z[..., k] for k in range(1, len(model.models))]
        sampler = SobolQMCNormalSampler(torch.Size([SAMPLES]), seed=self.problem.seed)
        tested = np.array([o.u for o in self.seen if o.is_finished])
        if not (self._predict(model, tested)[2] > 0.5).any():
            return qLogProbabilityOfFeasibility(model, constraints=constraints, sampler=sampler)
        return qLogNoisyExpectedImprovement(
            model=model, X_baseline=torch.tensor(tested, dtype=torch.double),
            prune_baseline=True, sampler=sampler, constraints=constraints,
            objective=GenericMCObjective(lambda z, X=None: z[..., 0]),  # noqa: ARG005
        )

    def _predict(self, model: Any, u: Array) -> tuple[Array, Array, Array]:
        """Means [N, M], standard deviations [N, M] and probability of feasibility [N]."""
        import torch

        with torch.no_grad():
            posterior = model.posterior(torch.tensor(u, dtype=torch.double))
            mean = posterior.mean.numpy()
            sd = posterior.variance.clamp_min(1e-12).sqrt().numpy()
        count = len(self.problem.analytes)
        chance = probability_of_targets(
            self.problem, mean[:, 1: 1 + count] + self.problem.targets, sd[:, 1: 1 + count])
        if mean.shape[1] > 1 + count:
            chance = chance * norm.cdf(mean[:, -1] / sd[:, -1])
        return mean, sd, chance

    def claim(self) -> Claim:
        model = self._fit()
        if model is None:
            return Claim(None, 0.0)
        rows = candidates(self.problem, self.seen, self.problem.seed)
        rng = np.random.default_rng(self.problem.seed)
        for radius in (0.04, 0.02, 0.0):
            mean, _, chance = self._predict(model, rows)
            good = chance >= self.problem.assurance
            i = (int(np.argmax(np.where(good, mean[:, 0], -np.inf))) if good.any()
                 else int(np.argmax(chance)))
            if radius > 0.0:
                near = rows[i] + radius * rng.standard_normal((200, self.problem.dimension))
                rows = np.array([self.problem.encode(self.problem.decode(u))
                                 for u in np.vstack([rows[i], np.clip(near, 0.0, 1.0)])])
        setting = self.problem.decode(rows[i])
        return Claim(setting if good.any() else None, float(chance[i]), setting,
                     belief=self._beliefs(model, [setting])[0])

    def beliefs(self, settings: Sequence[Setting]) -> list[Belief | None]:
        model = self._fit()
        if model is None or not settings:
            return [None] * len(settings)
        return self._beliefs(model, settings)

    def _beliefs(self, model: Any, settings: Sequence[Setting]) -> list[Belief | None]:
        u = np.array([self.problem.encode(s) for s in settings])
        mean, sd, chance = self._predict(model, u)
        count = len(self.problem.analytes)
        return [
            normal_belief(self.problem, (-float(mean[i, 0]), float(sd[i, 0])),
                          mean[i, 1: 1 + count] + self.problem.targets, sd[i, 1: 1 + count],
                          float(chance[i]))
            for i in range(len(settings))
        ]


def _column(values: Array) -> Any:
    import torch

    return torch.tensor(np.asarray(values, dtype=float), dtype=torch.double).unsqueeze(-1)
