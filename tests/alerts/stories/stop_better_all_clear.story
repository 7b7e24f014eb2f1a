# One of two causes is over: nothing is told until both have been for ten minutes.
start hill coarse
1 min calm
1 min dry and windy
  11:02 driver: Stop hill: too dry, Delta T 32.5 °F
    Stop spraying now.
    Delta T 32.5 °F, at most 14.4 °F (own): 18.1 °F over.
    Also wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: muy seco, Delta T 32.5 F. Deje de aplicar ya. Delta T 32.5 F, maximo 14.4 F (propio): 18.1 F de mas. Decide la etiqueta.
15 min dry
  11:07 helper: Stop hill: too dry, Delta T 32.5 F. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
10 min calm
1 min calm
  11:28 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 15 min of spraying left.
    Wind measured by mast 1 min ago.
  11:28 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 15 min de pulverizacion. Decide la etiqueta.
not Better|Mejor
most 2 driver
most 2 mate
