"""A farm that behaves, with known truth: physics makes the messages, a story makes the trouble.

Pure and seeded; touches no wire. `farm_night.simulate` is the door.

    weather -> sap, woods -> gathering -> tanks <- crew (transfers, RO, fire)
                     night, step by step -> sensors -> payloads -> wire -> messages
                                         -> record -> truth
"""
