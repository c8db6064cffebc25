"""Make the trial tables of the examples.

THE DATA ARE INVENTED. Each trial is computed with the run model at parameters other than the
assumed ones (a bench that heats less well, condenses less, loses more or less analyte than
the tables say) and given the scatter of a real bench, from a fixed seed. No laboratory
measured them. Run ``python examples/make_tables.py`` to write both tables again.
"""
