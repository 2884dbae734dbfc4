"""Which job is done when and by whom: the choice of jobs for periods and crews, as pure maths.

Take a name from the module that holds it: `choose` is a module here, and a name of the package that
meant a function of `first` was hidden by it as soon as the module was imported.
"""
