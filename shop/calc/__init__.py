"""The arithmetic of the bench: pure Python, standard library only, SI floats unless a name says otherwise."""
