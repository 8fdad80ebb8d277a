"""How a function that only kernels call is compiled: as far as needed for linking it, no further.

numba optimises every function and makes machine code of it, whole with all that it calls, before it
links it into its caller, and so again at every level of calls. Nothing ever runs that of an inner
one. Here such a function is only linked: the kernel that Python calls is optimised and made machine
code once, with all that it calls.
"""

from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import Compiler
from numba.core.compiler_machinery import FunctionPass, register_pass
from numba.core.typed_passes import NopythonTypeInference


class _NoMachineCode:
    """In place of the engine that holds machine code."""

    def set_env(self, name, env):
        """Do nothing: there is no place for a function's Python constants."""


class _LinkedOnly(JITCodeLibrary):
    """A function's code with all that it calls, to be linked into a kernel."""

    codegen = _NoMachineCode()

    def _optimize_final_module(self):
        pass

    def _finalize_final_module(self):
        self._finalize_dynamic_globals()
        self._finalized = True

    def get_pointer_to_function(self, name):
        return 0


@register_pass(mutates_CFG=False, analysis_only=True)
class _LinkOnly(FunctionPass):
    """Have what follows write into such a library."""

    _name = "link_only"

    def __init__(self):
        super().__init__()

    def run_pass(self, state):
        name = state.func_id.func_qualname
        state["library"] = linked = _LinkedOnly(state.targetctx.codegen(), name)
        linked.enable_object_caching()
        return False


class Inner(Compiler):
    """numba's own steps, into such a library."""

    def define_pipelines(self):
        """Return numba's pipelines with one step more."""
        pipelines = super().define_pipelines()
        for steps in pipelines:
            steps.add_pass_after(_LinkOnly, NopythonTypeInference)
            steps.finalize()
        return pipelines
